package survey

import (
	"slices"
	"time"

	"printround/internal/device"
	"printround/internal/ipp"
)

// epochLike is the printer-up-time from which it is taken for a wall clock:
// 10^9 seconds are 31 years of running, or September 2001. Some devices count
// from 1970 (common practice, no source); differences of their times still
// hold.
const epochLike = 1_000_000_000

// ippClock is the printer's own time when it answered.
type ippClock struct {
	up  int64 // printer-up-time, 0: not known
	now time.Time
}

func clockOf(a ipp.Attributes) ippClock {
	var c ippClock
	if up, ok := a.Int("printer-up-time"); ok && up > 0 {
		c.up = up
	}
	for _, v := range a.Get("printer-current-time") {
		if t, ok := v.Time(); ok {
			c.now = t
		}
	}
	return c
}

// ippQueue maps printer-is-accepting-jobs and queued-job-count.
func ippQueue(a ipp.Attributes) device.Queue {
	var q device.Queue
	if v, ok := a.Bool("printer-is-accepting-jobs"); ok {
		q.Accepting = &v
	}
	if n, ok := a.Int("queued-job-count"); ok && n >= 0 {
		count := int(n)
		q.Queued = &count
	}
	return q
}

// ippJobs maps the job groups of a Get-Jobs response, in the order of the
// printer: the first one is next.
func ippJobs(m *ipp.Message, clock ippClock, o ReadOptions) []device.Job {
	var jobs []device.Job
	for _, a := range jobGroups(m) {
		jobs = append(jobs, ippJob(a, clock, o))
	}
	return jobs
}

// jobGroups returns the groups that name a job, no more than are kept.
func jobGroups(m *ipp.Message) []ipp.Attributes {
	groups := slices.DeleteFunc(m.All(ipp.JobGroup), func(a ipp.Attributes) bool {
		_, ok := a.Int("job-id")
		return !ok
	})
	return groups[:min(len(groups), ipp.MaxJobs)]
}

func ippJob(a ipp.Attributes, clock ippClock, o ReadOptions) device.Job {
	id, _ := a.Int("job-id")
	j := device.Job{
		ID: int(id), Reasons: keywords(a.Texts("job-state-reasons")), AgeS: jobAge(a, clock),
		Pages: counted(a, "job-impressions-completed"),
	}
	if n, ok := a.Int("job-state"); ok && ipp.JobState(n).Registered() {
		j.State = device.Text(ipp.JobState(n).String())
	}
	if o.ShowJobNames {
		j.Name = device.CleanTo(a.Text("job-name"), 255)
	}
	if o.ShowOwners {
		j.Owner = device.CleanTo(a.Text("job-originating-user-name"), 255)
	}
	return j
}

// counted returns a count, nil for one that is not there or below zero.
func counted(a ipp.Attributes, name string) *int64 {
	if n, ok := a.Int(name); ok && n >= 0 {
		return &n
	}
	return nil
}

// jobAge is how long ago the job was created, in seconds. Where the printer's
// own clock does not tell, the wall clock times decide if the printer gives
// both.
func jobAge(a ipp.Attributes, clock ippClock) *int64 {
	if age := since(a, clock, "time-at-creation"); age != nil {
		return age
	}
	for _, v := range a.Get("date-time-at-creation") {
		t, ok := v.Time()
		if ok && !clock.now.IsZero() && !t.After(clock.now) {
			age := int64(clock.now.Sub(t) / time.Second)
			return &age
		}
	}
	return nil
}

// since is how long ago something happened to a job, in seconds, by the
// printer's own clock: job-printer-up-time minus the time (RFC 8011 section
// 5.3.14). A time of zero or less lies before the last restart; it tells
// nothing, as when the two do not count from the same moment.
func since(a ipp.Attributes, clock ippClock, name string) *int64 {
	up, ok := a.Int("job-printer-up-time")
	if !ok || up <= 0 {
		up = clock.up
	}
	then, ok := a.Int(name)
	if !ok || then <= 0 || up < then || (up < epochLike) != (then < epochLike) {
		return nil
	}
	n := up - then
	return &n
}

// ippCounters maps the printer's own counters. They count from a moment that
// the implementation chose, which is the life of the device on most.
func ippCounters(a ipp.Attributes) device.Counters {
	var c device.Counters
	for _, from := range []struct{ name, unit string }{
		{"printer-impressions-completed", "impressions"},
		{"printer-media-sheets-completed", "sheets"},
	} {
		if n := counted(a, from.name); n != nil {
			c.Life = device.Count{Value: n, Unit: device.Text(from.unit), Source: device.SourceIPP, Object: from.name}
			break
		}
	}
	for _, v := range a.Get("printer-impressions-completed-col") {
		if m, ok := v.Members(); ok {
			total, known := a.Int("printer-impressions-completed")
			c.Color, c.Monochrome = splitCount(m, total, known)
			break
		}
	}
	return c
}

// splitCount reads the colour and monochrome members of
// printer-impressions-completed-col. Whether the members for two-sided work are
// part of the others is not known, so they are only used when the total tells.
func splitCount(m ipp.Attributes, total int64, known bool) (color, mono device.Count) {
	sum := func(names ...string) (n int64, any bool) {
		for _, name := range names {
			if v, ok := m.Int(name); ok && v >= 0 {
				n, any = n+v, true
			}
		}
		return n, any
	}
	blank, _ := sum("blank")
	c, okC := sum("full-color", "highlight-color")
	k, okK := sum("monochrome")
	twoBlank, _ := sum("blank-two-sided")
	twoC, _ := sum("full-color-two-sided", "highlight-color-two-sided")
	twoK, _ := sum("monochrome-two-sided")
	two := twoBlank + twoC + twoK
	reason := device.Text("")
	switch {
	case two == 0 || known && total == blank+c+k:
	case known && total == blank+c+k+two:
		c, k = c+twoC, k+twoK
	default:
		reason = "the parts do not add up to the total"
	}
	build := func(n int64, ok bool) device.Count {
		out := device.Count{Unit: "impressions", Source: device.SourceIPP, Object: "printer-impressions-completed-col", Reason: reason}
		switch {
		case !ok:
			return device.Count{}
		case reason == "":
			out.Value = &n
		}
		return out
	}
	return build(c, okC), build(k, okK)
}
