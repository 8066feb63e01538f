package main

import (
	"bytes"
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"printround/internal/device"
	"printround/internal/finding"
	"printround/internal/report"
	"printround/internal/survey"
)

// estate is a survey of n devices of two models, some stopped, some silent, one
// a queue of a server, one without a page language that its like have.
func estate(n int) *device.Survey {
	s := &device.Survey{Schema: device.SurveySchema, Finished: time.Date(2026, 3, 2, 7, 0, 0, 0, time.UTC)}
	for i := range n {
		d := device.Device{
			Key: fmt.Sprintf("serial:lab:%05d", i*7919%n), Role: device.RolePrinter, MakeModel: device.Text(fmt.Sprintf("Lab L%d", i%2)),
			Languages: []device.Language{{Family: "langPCL"}, {Family: "langPS"}},
			Supplies:  []device.Supply{{Index: 1, Kind: "toner", Role: device.Consumed, Colorant: "black", Level: device.KnownLevel(int64(i*31%101), 100, device.Remaining)}},
		}
		d.Reached.SNMP = device.SNMPReach{OK: i%11 != 3, Tried: true}
		switch {
		case i == 4:
			d.Role = device.RoleServerQueue
		case i == 5:
			d.Languages = d.Languages[:1]
		case i%13 == 6:
			d.State.Device, d.State.ErrorBits = "down", []string{"jammed"}
		}
		s.Devices = append(s.Devices, d)
	}
	return s
}

// TestFleet: what a fleet writes, device by device, is what judging, ranking
// and writing all devices at once gives; so are order and level.
func TestFleet(t *testing.T) {
	for _, n := range []int{0, 1, batch - 1, batch, 3*batch + 7} {
		before := estate(n)
		want := estate(n)
		finding.JudgeAll(want.Devices, finding.Defaults())
		finding.Rank(want.Devices)
		f := &fleet{Fleet: survey.Hold(before), shelf: survey.NewShelf("", 0), options: func(*device.Device) finding.Options { return finding.Defaults() }}
		briefs, err := f.rank(true)
		if err != nil {
			t.Fatal(err)
		}
		if f.worst != worst(ranked(want.Devices)) || f.answered != anyAnswered(want.Devices) || len(briefs) != n {
			t.Errorf("%d devices: level %s, answered %v, %d compared", n, f.worst, f.answered, len(briefs))
		}
		for i := range briefs {
			if briefs[i].Key != want.Devices[i].Key || briefs[i].Attention != want.Devices[i].Attention {
				t.Fatalf("%d devices: place %d has %s", n, i, briefs[i].Key)
			}
		}
		for _, o := range []report.Options{{Format: report.JSON}, {Format: report.CSV}, {Format: report.Table}, {Format: report.Markdown}} {
			var got, all bytes.Buffer
			if err := f.write(&got, o); err != nil {
				t.Fatal(err)
			}
			if err := report.Write(&all, want, o); err != nil {
				t.Fatal(err)
			}
			if !bytes.Equal(got.Bytes(), all.Bytes()) {
				t.Errorf("%d devices, %s: got\n%s\nwant\n%s", n, o.Format, got.String(), all.String())
			}
		}
		f.Close()
	}
}

// TestInOrder: pieces come in their order, and the first error by that order
// ends the work.
func TestInOrder(t *testing.T) {
	const n = 5*batch + 3
	var got []string
	take := func(b []byte) error { got = append(got, string(b)); return nil }
	err := inOrder(n, func(i int, b []byte) ([]byte, error) { return fmt.Append(b, i), nil }, take)
	if err != nil || len(got) != n || !slices.IsSortedFunc(got, func(a, b string) int { return len(a) - len(b) }) || got[n-1] != fmt.Sprint(n-1) {
		t.Errorf("%d pieces, the last %q (%v)", len(got), got[len(got)-1], err)
	}
	bad := errors.New("bad")
	got = nil
	err = inOrder(n, func(i int, b []byte) ([]byte, error) {
		if i >= 70 {
			return nil, fmt.Errorf("%d: %w", i, bad)
		}
		return b, nil
	}, take)
	if !errors.Is(err, bad) || !strings.HasPrefix(err.Error(), "70: ") || len(got) != 70 {
		t.Errorf("after %d pieces: %v", len(got), err)
	}
	used := 0
	err = inOrder(n, func(int, []byte) ([]byte, error) { return nil, nil }, func([]byte) error {
		if used++; used == 3 {
			return bad
		}
		return nil
	})
	if err != bad || used != 3 {
		t.Errorf("after %d pieces: %v", used, err)
	}
}

// TestSpreadRaisesPanics: a crash of one goroutine reaches the one that reports
// it, with its places.
func TestSpreadRaisesPanics(t *testing.T) {
	defer func() {
		if r, ok := recover().(*relayed); !ok || r.value != "crash" || len(r.places) == 0 {
			t.Errorf("recovered %v", r)
		}
	}()
	spread(100, func(i int) {
		if i == 57 {
			panic("crash")
		}
	})
	t.Error("no panic")
}
