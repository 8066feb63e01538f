package main

import (
	"context"
	"errors"
	"strings"
	"testing"
	"time"

	"printround/internal/device"
)

// looks returns surveys one after the other, each of one device with findings
// of these codes.
func looks(t *testing.T, each ...[]device.Finding) func(context.Context) (*device.Survey, error) {
	n := 0
	return func(context.Context) (*device.Survey, error) {
		if n == len(each) {
			t.Fatal("looked again although the device was clear")
		}
		d := found("serial:a:1", "10.0.0.1")
		d.Name, d.Findings, d.Attention = "Front desk", each[n], device.Clear
		if len(each[n]) > 0 {
			d.Attention = device.Attention(each[n][0].Impact)
		}
		n++
		return &device.Survey{Devices: []device.Device{d}}, nil
	}
}

func fault(code, summary string, impact device.Impact) device.Finding {
	return device.Finding{Code: code, Summary: summary, Impact: impact, Weight: 0.5}
}

func TestWatchUntilClear(t *testing.T) {
	a, shown := testApp(t)
	jam := fault("media-jam", "paper jam", device.ImpactStopped)
	low := fault("toner-low", "toner low", device.ImpactDue)
	pauses := 0
	w := watcher{
		a:     a,
		look:  looks(t, []device.Finding{jam, low}, []device.Finding{jam, low}, []device.Finding{low}, nil),
		every: 7 * time.Second,
		pause: func(_ context.Context, d time.Duration) error {
			if pauses++; d != 7*time.Second {
				t.Errorf("waited %s", d)
			}
			return nil
		},
	}
	if err := w.run(context.Background()); err != nil {
		t.Fatal(err)
	}
	if pauses != 3 {
		t.Errorf("waited %d times, want 3", pauses)
	}
	out, _ := shown()
	if !strings.HasPrefix(out, "STOPPED") {
		t.Errorf("it does not begin with the verdict: %q", out)
	}
	want := "07:30:00  cleared: paper jam\n07:30:00  now due, was stopped\n07:30:00  cleared: toner low\n07:30:00  now clear, was due\n"
	if !strings.HasSuffix(out, want) {
		t.Errorf("it ends with\n%s\nwant\n%s", out[max(0, len(out)-300):], want)
	}
}

func TestWatchInterrupted(t *testing.T) {
	a, _ := testApp(t)
	w := watcher{
		a:     a,
		look:  looks(t, []device.Finding{fault("media-jam", "paper jam", device.ImpactStopped)}),
		pause: func(context.Context, time.Duration) error { return errInterrupted },
	}
	if err := w.run(context.Background()); !errors.Is(err, errInterrupted) {
		t.Errorf("got %v, want that it was interrupted", err)
	}
}

func TestLapse(t *testing.T) {
	ctx, cancel := context.WithCancelCause(context.Background())
	cancel(errInterrupted)
	if err := lapse(ctx, time.Hour); !errors.Is(err, errInterrupted) {
		t.Errorf("got %v, want the cause", err)
	}
	if err := lapse(context.Background(), time.Nanosecond); err != nil {
		t.Errorf("got %v", err)
	}
}
