package main

import (
	"io"
	"runtime"
	"slices"
	"sync"

	"printround/internal/device"
	"printround/internal/finding"
	"printround/internal/report"
	"printround/internal/survey"
)

// fleet is a survey whose devices are made, judged and written one after the
// other: a few hundred octets of each stay in memory. Each is judged twice,
// first for its place and then to be shown; that costs less than keeping it.
type fleet struct {
	*survey.Fleet
	shelf   *survey.Shelf
	peers   finding.Peers
	options func(*device.Device) finding.Options
	tell    func(*device.Device) // what is known of a judged device beside the survey
	order   []int                // of the devices, the most urgent first

	answered bool             // something did
	worst    device.Attention // of the devices that are ranked
}

// rank judges all devices and puts them in order. When an earlier survey is
// given it returns them, with no more than a comparison looks at.
func (f *fleet) rank(compared bool) ([]device.Device, error) {
	for i := range f.Len() {
		d := f.Outline(i)
		f.answered = f.answered || survey.Answered(&d)
		f.peers.Add(&d)
	}
	places := make([]finding.Place, f.Len())
	attention := make([]device.Attention, f.Len())
	var briefs []device.Device
	if compared {
		briefs = make([]device.Device, f.Len())
	}
	err := inOrder(f.Len(), func(i int, _ []byte) ([]byte, error) {
		d, err := f.judged(i)
		if err != nil {
			return nil, err
		}
		places[i] = finding.PlaceOf(&d, 0, false)
		if d.Role != device.RoleServerQueue {
			attention[i] = d.Attention
		}
		if compared {
			briefs[i] = finding.Comparable(&d)
		}
		return nil, nil
	}, func([]byte) error { return nil })
	if err != nil {
		return nil, err
	}
	f.order = make([]int, f.Len())
	for i := range f.order {
		f.order[i] = i
	}
	slices.SortStableFunc(f.order, func(a, b int) int { return places[a].Compare(places[b]) })
	f.worst = device.Clear
	for _, a := range attention {
		f.worst = worse(f.worst, a)
	}
	var ranked []device.Device
	for _, i := range f.order {
		if compared {
			ranked = append(ranked, briefs[i])
		}
	}
	return ranked, nil
}

// judged makes device i and judges it.
func (f *fleet) judged(i int) (device.Device, error) {
	d, err := f.Device(i)
	if err == nil {
		f.peers.Judge(&d, f.options(&d))
		if f.tell != nil {
			f.tell(&d)
		}
	}
	return d, err
}

// load takes the devices into memory, in order, with as much of each as brief
// leaves.
func (f *fleet) load(brief func(*device.Device) device.Device) (*device.Survey, error) {
	s := *f.Head
	s.Devices = make([]device.Device, f.Len())
	err := inOrder(f.Len(), func(n int, _ []byte) ([]byte, error) {
		d, err := f.judged(f.order[n])
		s.Devices[n] = brief(&d)
		return nil, err
	}, func([]byte) error { return nil })
	return &s, err
}

// Close gives back what lies on the shelf.
func (f *fleet) Close() {
	f.Fleet.Close()
	f.shelf.Close()
}

func entire(d *device.Device) device.Device { return *d }

// write writes the survey.
func (f *fleet) write(w io.Writer, o report.Options) error {
	if !report.Streamed(o.Format) {
		s, err := f.load(func(d *device.Device) device.Device { return report.Brief(d, o) })
		if err != nil {
			return err
		}
		return report.Write(w, s, o)
	}
	out, err := report.NewStream(w, f.Head, o)
	if err != nil {
		return err
	}
	err = inOrder(f.Len(), func(n int, b []byte) ([]byte, error) {
		d, err := f.judged(f.order[n])
		if err != nil {
			return nil, err
		}
		return out.Append(b, &d)
	}, out.Write)
	if err != nil {
		return err
	}
	return out.Close()
}

// batch is how many pieces are made before they are used.
const batch = 64

// inOrder makes n pieces on all processors and uses them one after the other.
// A piece is appended to the octets that make is given, and is used before they
// are given again. The first error, by the order of the pieces, ends it.
func inOrder(n int, piece func(int, []byte) ([]byte, error), use func([]byte) error) error {
	pieces, errs := make([][]byte, min(n, batch)), make([]error, min(n, batch))
	for first := 0; first < n; first += batch {
		count := min(batch, n-first)
		spread(count, func(k int) { pieces[k], errs[k] = piece(first+k, pieces[k][:0]) })
		for k := range count {
			if errs[k] != nil {
				return errs[k]
			}
			if err := use(pieces[k]); err != nil {
				return err
			}
		}
	}
	return nil
}

// spread calls f for 0 to n-1 on all processors. A panic of one is raised here.
func spread(n int, f func(int)) {
	workers := min(runtime.GOMAXPROCS(0), n)
	crashes := make([]*relayed, workers)
	var all sync.WaitGroup
	for w := range workers {
		all.Go(func() {
			defer relay(&crashes[w])
			for k := w; k < n; k += workers {
				f(k)
			}
		})
	}
	all.Wait()
	for _, c := range crashes {
		if c != nil {
			panic(c)
		}
	}
}
