package term

import (
	"bytes"
	"os"
	"strings"
	"sync"
	"testing"
	"time"
)

func TestProgressIsSilentElsewhere(t *testing.T) {
	f, err := os.CreateTemp(t.TempDir(), "err")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	for _, p := range []*Progress{NewProgress(f, true), NewProgress(nil, true), NewProgress(os.Stderr, false)} {
		p.Update(1, 2, "reading")
		p.Done()
		p.Done()
	}
	if info, err := f.Stat(); err != nil || info.Size() != 0 {
		t.Errorf("wrote %d bytes to a file (%v)", info.Size(), err)
	}
}

// drawn returns the lines as drawn, without the codes that clear them.
func drawn(b *bytes.Buffer) []string {
	out := strings.NewReplacer("\x1b[2K", "", "\x1b[0K", "").Replace(b.String())
	var lines []string
	for l := range strings.SplitSeq(out, "\r") {
		if l = strings.TrimSpace(l); l != "" {
			lines = append(lines, l)
		}
	}
	return lines
}

// clock goes on by a step each time it is asked.
func clock(step time.Duration) func() time.Time {
	var mu sync.Mutex
	now := time.Date(2025, 3, 4, 17, 5, 0, 0, time.UTC)
	return func() time.Time {
		mu.Lock()
		defer mu.Unlock()
		now = now.Add(step)
		return now
	}
}

func TestProgressIsNotDrawnTooOften(t *testing.T) {
	var b bytes.Buffer
	p := newProgress(&b, func() int { return 80 }, true, clock(progressEvery/16))
	for i := range 64 {
		p.Update(i, 64, "reading")
	}
	if n := strings.Count(b.String(), "reading"); n < 4 || n > 16 {
		t.Errorf("drawn %d times", n)
	}
}

func TestProgressLine(t *testing.T) {
	var b bytes.Buffer
	p := newProgress(&b, func() int { return 60 }, true, clock(time.Second))
	p.Update(0, 0, "looking")
	p.Update(3, 12, "reading \x1b[31m部屋")
	p.Update(12, 12, "reading")
	p.Update(12, 40, "reading") // the number of devices grows
	p.Update(50, 40, "reading")
	p.Update(-1, 40, "reading "+strings.Repeat("x", 200))
	lines := drawn(&b)
	joined := strings.Join(lines, "\n")
	for _, want := range []string{"looking", `reading \x1b[31m?? 3/12`, "12/12", "12/40", "25%", "30%", "..."} {
		if !strings.Contains(joined, want) {
			t.Errorf("no %q in\n%s", want, joined)
		}
	}
	for _, l := range lines {
		if w := DisplayWidth(l); w > 60 {
			t.Errorf("%d cells: %q", w, l)
		}
	}
	p.Done()
	if !strings.HasSuffix(b.String(), "\x1b[2K\r") {
		t.Errorf("not cleared at the end: %q", b.String()[b.Len()-20:])
	}
	n := b.Len()
	p.Update(1, 2, "late")
	p.Done()
	if b.Len() != n {
		t.Error("draws after the end")
	}
}

// TestProgressWithoutCodes clears by overwriting.
func TestProgressWithoutCodes(t *testing.T) {
	var b bytes.Buffer
	p := newProgress(&b, func() int { return 0 }, false, clock(time.Second))
	p.Update(1, 2, "reading")
	p.Done()
	if out := b.String(); strings.Contains(out, "\x1b") || !strings.HasSuffix(out, "\r") {
		t.Errorf("got %q", out)
	}
}

func TestProgressFromSeveralGoroutines(t *testing.T) {
	var b bytes.Buffer
	p := newProgress(&b, func() int { return 80 }, true, clock(time.Second))
	var wg sync.WaitGroup
	for i := range 8 {
		wg.Go(func() {
			for n := range 20 {
				p.Update(n, 20, strings.Repeat("y", i))
			}
			p.Done()
		})
	}
	wg.Wait()
}
