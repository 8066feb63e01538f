package report

import (
	"bytes"
	"errors"
	"io"
	"math/rand/v2"
	"reflect"
	"slices"
	"testing"

	"printround/internal/device"
)

// TestBrief: a page of brief devices is the page of the whole ones.
func TestBrief(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	odd := &device.Survey{}
	levels := []device.Attention{device.Stopped, device.Silent, device.Impaired, device.Due, device.Clear}
	for range 60 {
		var d device.Device
		scramble(r, reflect.ValueOf(&d).Elem())
		d.Role, d.Attention = device.RolePrinter, levels[r.IntN(len(levels))]
		for i := range d.Findings {
			// The level of a device is that of its worst finding.
			d.Findings[i].Impact = []device.Impact{device.Impact(d.Attention), device.ImpactNote}[r.IntN(2)]
		}
		if d.Attention == device.Clear {
			d.Findings = nil
		}
		odd.Devices = append(odd.Devices, d)
	}
	for name, s := range map[string]*device.Survey{"sample": sampleSurvey(), "many": manyDevices(30), "odd": odd} {
		for _, o := range []Options{
			{}, {Width: 80}, {Width: 200, Explain: true}, {Format: Markdown}, {Format: Markdown, Explain: true}, {Format: JSON}, {Format: CSV, Rows: Trays},
		} {
			brief := *s
			brief.Devices = nil
			for i := range s.Devices {
				brief.Devices = append(brief.Devices, Brief(&s.Devices[i], o))
			}
			if want, got := render(t, s, o), render(t, &brief, o); !bytes.Equal(want, got) {
				t.Errorf("%s, %+v: got\n%s\nwant\n%s", name, o, got, want)
			}
		}
	}
}

// TestStreamInAnyOrder: pieces made at the same time, one after the other
// written, are what Write writes.
func TestStreamInAnyOrder(t *testing.T) {
	s := hostileSurvey()
	for _, o := range []Options{{Format: JSON}, {Format: CSV}, {Format: CSV, BOM: true, Rows: Findings}} {
		want := render(t, s, o)
		head := *s
		head.Devices = nil
		var got bytes.Buffer
		x, err := NewStream(&got, &head, o)
		if err != nil {
			t.Fatal(err)
		}
		pieces := make([][]byte, len(s.Devices))
		done := make(chan error)
		for i := range s.Devices {
			go func() {
				var err error
				pieces[i], err = x.Append(nil, &s.Devices[i])
				done <- err
			}()
		}
		for range s.Devices {
			if err := <-done; err != nil {
				t.Fatal(err)
			}
		}
		for _, p := range pieces {
			if err := x.Write(p); err != nil {
				t.Fatal(err)
			}
		}
		if err := x.Close(); err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(got.Bytes(), want) {
			t.Errorf("%+v: a stream differs from Write", o)
		}
	}
}

func TestStreamedFormats(t *testing.T) {
	for _, f := range Formats() {
		_, err := NewStream(io.Discard, &device.Survey{}, Options{Format: f})
		if (err == nil) != Streamed(f) {
			t.Errorf("%s: Streamed says %v, NewStream %v", f, Streamed(f), err)
		}
	}
	if _, err := NewStream(io.Discard, &device.Survey{}, Options{Format: JSON, Rows: Trays}); err == nil {
		t.Error("options that do not go together were taken")
	}
}

// TestStreamReportsErrors: whichever write fails, it is said.
func TestStreamReportsErrors(t *testing.T) {
	s := manyDevices(3)
	for _, o := range []Options{{Format: JSON}, {Format: CSV}, {Format: CSV, BOM: true}} {
		total := len(render(t, s, o))
		for _, room := range slices.Compact([]int{0, 1, 2, total / 2, total - 1}) {
			if err := Write(&little{room}, s, o); !errors.Is(err, io.ErrShortBuffer) {
				t.Errorf("%+v with room for %d of %d: %v", o, room, total, err)
			}
		}
	}
}

// little takes so many bytes.
type little struct{ room int }

func (l *little) Write(b []byte) (int, error) {
	if len(b) > l.room {
		return 0, io.ErrShortBuffer
	}
	l.room -= len(b)
	return len(b), nil
}
