// Package nightly is what a run every night adds to a survey: when no answer
// means that a device is silent, what changed since the last run, and which
// files are kept where. It asks no device itself.
package nightly

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"printround/internal/device"
	"printround/internal/finding"
	"printround/internal/history"
)

// Rules of silence (common practice, no source, except where stated).
const (
	missesForSilence = 2                   // in hours when the device normally answers
	apart            = time.Hour           // looks closer together are one
	usualWithin      = time.Hour           // of the time of day
	usualDays        = 60                  // that tell when a device normally answers
	usualShare       = 0.5                 // of the looks at like hours
	goneAfter        = 30 * 24 * time.Hour // a device that its site does not expect is no longer looked for
)

// Known returns what a survey should know of the devices of the history. Those
// that have not answered for long, or whose address another device has now,
// come without their addresses: they are recognised, but not missed.
func Known(ctx context.Context, s *history.Store, now time.Time) ([]device.Device, error) {
	list, err := s.Devices(ctx)
	if err != nil {
		return nil, err
	}
	// Of two that were at one address in turn, the later one is looked for there.
	slices.SortStableFunc(list, func(a, b history.Known) int { return b.LastSeen.Compare(a.LastSeen) })
	var out []device.Device
	for i := range list {
		k := &list[i]
		if k.LastSeen.IsZero() {
			continue // its site names it
		}
		if k.Superseded || now.Sub(k.LastSeen) > goneAfter {
			k.Addresses = nil
		}
		out = append(out, k.Device())
	}
	return out, nil
}

// Settle judges the devices of a survey that gave no answer by their history:
// one is silent after two misses in hours when it normally answers, and until
// then the miss is a note. A run that could not ask properly settles nothing.
// The misses of this run are not in the history yet. It changes the attention
// of devices: rank them afterwards.
func Settle(ctx context.Context, s *history.Store, v *device.Survey, info history.RunInfo, zone *time.Location) error {
	if info.NoMisses {
		return nil
	}
	for i := range v.Devices {
		d := &v.Devices[i]
		if d.Role == device.RoleServerQueue || history.Answered(d) {
			continue
		}
		m, err := missesOf(ctx, s, d, zone)
		if err != nil {
			return err
		}
		if m.counted >= missesForSilence {
			continue
		}
		standing, err := s.Standing(ctx, d.Key)
		if err != nil && !errors.Is(err, history.ErrUnknown) {
			return err
		}
		summary := "no answer this time"
		if !m.last.IsZero() {
			summary += ", the last one was " + m.last.In(zone).Format("2006-01-02 15:04")
		}
		finding.Missed(d, summary, m.why(), standing)
	}
	return nil
}

// misses is how often in a row a device gave no answer, this time included.
type misses struct {
	last    time.Time // the last answer; zero: none
	counted int       // in hours when it normally answers
	now     bool      // this one is among them
}

func (m misses) why() string {
	if !m.now {
		return "no answer at an hour when it normally gives none"
	}
	return fmt.Sprintf("miss %d in hours when it normally answers; silent after %d", m.counted, missesForSilence)
}

func missesOf(ctx context.Context, s *history.Store, d *device.Device, zone *time.Location) (misses, error) {
	attempts, err := s.Attempts(ctx, d.Key, time.Time{})
	if err != nil && !errors.Is(err, history.ErrUnknown) {
		return misses{}, err
	}
	return count(attempts, d.ObservedAt, zone), nil
}

// count counts the misses since the last answer and the one now.
func count(attempts []history.Attempt, now time.Time, zone *time.Location) misses {
	var m misses
	answered := len(attempts)
	for answered > 0 && !attempts[answered-1].Answered {
		answered--
	}
	usual := hours{attempts: attempts[:answered], zone: zone}
	if answered > 0 {
		m.last = attempts[answered-1].At
	}
	var before time.Time
	for _, a := range append(attempts[answered:len(attempts):len(attempts)], history.Attempt{At: now}) {
		m.now = false
		if !usual.answers(a.At) || !before.IsZero() && a.At.Sub(before) < apart {
			continue
		}
		before, m.now = a.At, true
		m.counted++
	}
	return m
}

// hours is when a device was asked up to its last answer.
type hours struct {
	attempts []history.Attempt
	zone     *time.Location
}

// answers reports whether the device normally answers at such a time: on
// working days or weekends alike, near that hour of the day. A device that
// never answered is missed at any time: its site says that it is there. At
// hours when nobody ever asked, nothing is known and nothing is missed.
func (h hours) answers(at time.Time) bool {
	if len(h.attempts) == 0 {
		return true
	}
	last := h.attempts[len(h.attempts)-1].At
	asked, answered := 0, 0
	for _, a := range h.attempts {
		if last.Sub(a.At) > usualDays*24*time.Hour || !alike(a.At.In(h.zone), at.In(h.zone)) {
			continue
		}
		asked++
		if a.Answered {
			answered++
		}
	}
	return asked > 0 && float64(answered) >= usualShare*float64(asked)
}

// alike compares two times of the same zone: clocks go by what they show, so
// summer time changes nothing.
func alike(a, b time.Time) bool {
	if weekend(a) != weekend(b) {
		return false
	}
	minutes := func(t time.Time) int { return t.Hour()*60 + t.Minute() }
	d := minutes(a) - minutes(b)
	if d < 0 {
		d = -d
	}
	return time.Duration(min(d, 24*60-d))*time.Minute <= usualWithin
}

func weekend(t time.Time) bool { return t.Weekday() == time.Saturday || t.Weekday() == time.Sunday }

// Gone adds to the changes the devices that were given up since the earlier
// run: they have not answered for long, and no site expects them.
func Gone(ctx context.Context, s *history.Store, v *device.Survey, c *device.Changes) error {
	list, err := s.Devices(ctx)
	if err != nil {
		return err
	}
	here := map[string]bool{}
	for i := range v.Devices {
		here[v.Devices[i].Key] = true
	}
	for _, k := range list {
		givenUp := k.LastSeen.Add(goneAfter)
		if k.LastSeen.IsZero() || k.Superseded || here[k.Key] || !givenUp.Before(v.Finished) || givenUp.Before(c.Since) {
			continue
		}
		d := k.Device()
		c.Gone = append(c.Gone, device.Change{Key: k.Key, Device: d.Called(),
			What: fmt.Sprintf("no answer for %d days, no longer looked for", int(goneAfter.Hours()/24))})
	}
	return nil
}
