package lab

import (
	"bytes"
	"encoding/json"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"printround/internal/device"
)

func simulate(t *testing.T, o NightsOptions) *History {
	t.Helper()
	h, err := SimulateNights(o)
	if err != nil {
		t.Fatal(err)
	}
	return h
}

func TestNightsGoByTheSeed(t *testing.T) {
	text := func(seed int64) string {
		h := simulate(t, NightsOptions{Seed: seed, Nights: 60, Devices: 30})
		var b bytes.Buffer
		if err := h.WriteTruth(&b); err != nil {
			t.Fatal(err)
		}
		if err := json.NewEncoder(&b).Encode(h.Devices); err != nil {
			t.Fatal(err)
		}
		return b.String()
	}
	five := text(5)
	if again := text(5); again != five {
		t.Error("the same seed gives two histories")
	}
	if five == text(6) {
		t.Error("two seeds give the same history")
	}
}

// lifeAt is what was in a place at a moment.
func lifeAt(h *History, key string, index int, at time.Time) *SupplyLife {
	for i := range h.Lives {
		l := &h.Lives[i]
		if l.Key == key && l.Index == index && !l.From.After(at) && (l.To == nil || l.To.After(at)) {
			return l
		}
	}
	return nil
}

// The truth and the readings speak of the same supplies: each reading falls
// into one life, levels do not rise within a life but for wrong readings, and
// what ran out was low just before.
func TestNightsAgreeWithTheTruth(t *testing.T) {
	h := simulate(t, NightsOptions{Seed: 2, Nights: 180})
	wrong := map[string]bool{}
	for _, e := range h.Events {
		if strings.HasPrefix(e.What, "a wrong reading") {
			wrong[e.Key+e.At.String()] = true
		}
	}
	rises, readings, low, ended := 0, 0, 0, 0
	for _, d := range h.Devices {
		last := map[*SupplyLife]float64{}
		for i, n := range d.Nights {
			if i > 0 && !n.At.After(d.Nights[i-1].At) {
				t.Fatalf("%s: nights out of order", d.Key)
			}
			for _, s := range n.Supplies {
				l := lifeAt(h, d.Key, s.Index, n.At)
				if l == nil || l.Kind != s.Kind {
					t.Fatalf("%s: supply %d of %v is in no life", d.Key, s.Index, n.At)
				}
				if s.Percent == nil || wrong[d.Key+n.At.String()] {
					continue
				}
				if *s.Percent < 0 || *s.Percent > 100 || s.Reason != "" {
					t.Fatalf("%s: a level of %v, %q", d.Key, *s.Percent, s.Reason)
				}
				readings++
				if before, ok := last[l]; ok && *s.Percent > before+0.11 {
					rises++
					t.Logf("%s, %s: %v to %v on %v", d.Key, s.Name, before, *s.Percent, n.At)
				}
				last[l] = *s.Percent
			}
		}
		for l, percent := range last {
			if l.Ended == "empty" {
				ended++
				if percent <= 35 {
					low++
				}
			}
		}
	}
	if rises > 0 {
		t.Errorf("%d of %d levels rise within a life", rises, readings)
	}
	if ended < 200 || float64(low) < 0.9*float64(ended) {
		t.Errorf("%d of %d supplies that ran out were low before", low, ended)
	}
}

// Every kind of trouble that a forecast has to bear is there.
func TestNightsHaveTroubles(t *testing.T) {
	h := simulate(t, NightsOptions{Seed: 1, Nights: 180})
	found := map[string]int{}
	for _, e := range h.Events {
		for _, w := range []string{"no run", "a wrong reading: empty", "a wrong reading: full", "a wrong reading: life count", "no life count", "no levels", "device swapped", "starts at 0"} {
			if strings.Contains(e.What, w) {
				found[w]++
			}
		}
	}
	for _, l := range h.Lives {
		found["began "+l.Began]++
		found["ended "+l.Ended]++
		if l.Ended == "early" && l.RunOut != nil && l.To != nil && l.RunOut.After(*l.To) {
			found["early with its true run-out"]++
		}
		if l.RunOut != nil && l.RunOut.Before(l.From) {
			t.Errorf("a supply of %s ran out before it was put in", l.Key)
		}
		if l.Ended == "empty" && (l.RunOut == nil || l.RunOut.After(*l.To)) {
			t.Errorf("a supply of %s was taken out empty and had not run out", l.Key)
		}
	}
	reasons := map[string]int{}
	steps := map[string]bool{}
	for _, d := range h.Devices {
		if strings.HasPrefix(d.Key, "addr:") {
			found["no identity"]++
		}
		for _, n := range d.Nights {
			for _, s := range n.Supplies {
				reasons[s.Reason]++
				if s.Percent != nil && math.Mod(*s.Percent, 1) != 0 {
					steps["fine"] = true
				}
			}
		}
	}
	for _, w := range []string{
		"no run", "a wrong reading: empty", "a wrong reading: full", "a wrong reading: life count", "no life count", "no levels", "device swapped", "starts at 0",
		"began in place", "began new", "began part-used", "began another size", "ended empty", "ended early", "ended still in", "ended swapped with its device",
		"early with its true run-out", "no identity",
	} {
		if found[w] == 0 {
			t.Errorf("nothing of %q: %v", w, found)
		}
	}
	if reasons["unknown"] == 0 || reasons["some-left"] == 0 || reasons["not-reported"] == 0 || !steps["fine"] {
		t.Errorf("reasons %v, steps %v", reasons, steps)
	}
}

func TestNightsSettings(t *testing.T) {
	base := simulate(t, NightsOptions{Seed: 4, Nights: 90, Devices: 40})
	pages := func(h *History) (sum float64) {
		for _, d := range h.Devices {
			var first, last *int64
			for _, n := range d.Nights {
				if n.LifeCount != nil && *n.LifeCount > 0 {
					if first == nil {
						first = n.LifeCount
					}
					last = n.LifeCount
				}
			}
			if first != nil && *last > *first && *last-*first < 1_000_000 {
				sum += float64(*last - *first)
			}
		}
		return sum
	}
	nights := func(h *History) (n int) {
		for _, d := range h.Devices {
			n += len(d.Nights)
		}
		return n
	}
	if r := pages(simulate(t, NightsOptions{Seed: 4, Nights: 90, Devices: 40, Volume: 3})) / pages(base); r < 2 || r > 4 {
		t.Errorf("three times the volume gives %.2f times the pages", r)
	}
	if r := float64(nights(simulate(t, NightsOptions{Seed: 4, Nights: 90, Devices: 40, Missing: 0.3}))) / float64(nights(base)); r < 0.64 || r > 0.76 {
		t.Errorf("with 30 %% missing there are %.2f of the nights", r)
	}
	for _, d := range simulate(t, NightsOptions{Seed: 4, Nights: 90, Devices: 40, Step: 20}).Devices {
		for _, n := range d.Nights {
			for _, s := range n.Supplies {
				if s.Percent != nil && math.Abs(*s.Percent-20*math.Round(*s.Percent/20)) > 0.3 {
					t.Fatalf("a level of %v in steps of 20", *s.Percent)
				}
			}
		}
	}
	for _, o := range []NightsOptions{{}, {Nights: 4000}, {Nights: 1, Volume: -1}, {Nights: 1, Step: 60}, {Nights: 1, Missing: 0.95}, {Nights: 1, Devices: -1}, {Nights: 1, Volume: math.NaN()}} {
		if _, err := SimulateNights(o); err == nil {
			t.Errorf("%+v is accepted", o)
		}
	}
}

// A night as a survey holds what was read, under names that the survey itself
// would give.
func TestNightAsASurvey(t *testing.T) {
	h := simulate(t, NightsOptions{Seed: 1, Nights: 12, Devices: 28})
	s, ok := h.Survey(11)
	if !ok || len(s.Devices) < 20 {
		t.Fatalf("%d devices on the last night", len(s.Devices))
	}
	if s.Started.After(s.Finished) || s.Finished.Sub(s.Started) > time.Hour {
		t.Errorf("from %v to %v", s.Started, s.Finished)
	}
	for _, d := range s.Devices {
		i := slices.IndexFunc(h.Devices, func(x NightsDevice) bool { return x.Key == d.Key })
		n := h.Devices[i].Nights[len(h.Devices[i].Nights)-1]
		if !slices.Contains(d.Aliases, d.Key) || !d.Reached.SNMP.OK || len(d.Supplies) != len(n.Supplies) {
			t.Fatalf("%s: %+v", d.Key, d)
		}
		for k, q := range d.Supplies {
			p, known := q.Level.Percent()
			if known != (n.Supplies[k].Percent != nil) || known && p != *n.Supplies[k].Percent {
				t.Errorf("%s, %s: %v, read %v", d.Key, q.Name, q.Level, n.Supplies[k].Percent)
			}
			if (q.Role == device.Receptacle) != (q.Level.Measures() == device.SpaceLeft) && known {
				t.Errorf("%s: role %s measures %s", q.Name, q.Role, q.Level.Measures())
			}
		}
	}
	if _, ok := h.Survey(500); ok {
		t.Error("a night beyond the history")
	}
}

// Dates of Easter from the tables of the Astronomical Applications Department,
// U.S. Naval Observatory (from memory).
func TestEaster(t *testing.T) {
	for year, want := range map[int]string{2024: "03-31", 2025: "04-20", 2026: "04-05", 2027: "03-28", 2028: "04-16", 2029: "04-01", 2030: "04-21", 2038: "04-25"} {
		if got := easter(year).Format("01-02"); got != want {
			t.Errorf("%d: %s, want %s", year, got, want)
		}
	}
}
