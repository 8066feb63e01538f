package report

import (
	"bytes"
	"fmt"
	"io"
	"runtime"
	"slices"
	"sync"

	"printround/internal/device"
)

// Streamed reports whether a format is written device by device, so that the
// devices need not be in memory together: see Stream. The others need all of
// them, and no more of each than Brief leaves.
func Streamed(f Format) bool { return f == CSV || f == JSON }

// Stream writes a survey device by device in one of the formats that Streamed
// names: what Write writes, octet by octet.
type Stream struct {
	w     io.Writer
	piece func(*bytes.Buffer, *device.Device) error // writes one device
	comma string                                    // between two pieces
	none  string                                    // where there is no piece
	last  string                                    // after the last one
	tail  []byte
	n     int
}

// NewStream begins to write a survey; the devices in it are not looked at.
func NewStream(w io.Writer, s *device.Survey, o Options) (*Stream, error) {
	if err := o.Check(); err != nil {
		return nil, err
	}
	switch o.Format {
	case CSV:
		return newCSVStream(w, o)
	case JSON:
		return newJSONStream(w, s)
	}
	return nil, fmt.Errorf("format %s is not written device by device", o.Format)
}

// Append appends what is to be written of one device to b. Several goroutines
// may make pieces at the same time.
func (x *Stream) Append(b []byte, d *device.Device) ([]byte, error) {
	buf := bytes.NewBuffer(b)
	err := x.piece(buf, d)
	return buf.Bytes(), err
}

// Write writes the piece of the next device.
func (x *Stream) Write(piece []byte) error {
	x.n++
	if x.n > 1 && x.comma != "" {
		if _, err := io.WriteString(x.w, x.comma); err != nil {
			return err
		}
	}
	_, err := x.w.Write(piece)
	return err
}

// Close writes what comes after the devices. It does not close the writer.
func (x *Stream) Close() error {
	end := x.last
	if x.n == 0 {
		end = x.none
	}
	if _, err := io.WriteString(x.w, end); err != nil {
		return err
	}
	_, err := x.w.Write(x.tail)
	return err
}

// blockOf is how many devices are made ready together.
const blockOf = 16

// block is what is to be written of some devices: octets, and where the piece
// of each ends.
type block struct {
	octets []byte
	ends   []int
	err    error
}

// writeStream writes a survey that is in memory. The pieces are made on all
// processors, a few blocks ahead of the writing, and written in order.
func writeStream(w io.Writer, s *device.Survey, o Options) error {
	x, err := NewStream(w, s, o)
	if err != nil {
		return err
	}
	var makers sync.WaitGroup
	defer makers.Wait()
	stop := make(chan struct{})
	defer close(stop)
	ahead := make(chan chan *block, runtime.GOMAXPROCS(0))
	used := sync.Pool{New: func() any { return new(block) }}
	makers.Go(func() {
		defer close(ahead)
		for devices := range slices.Chunk(s.Devices, blockOf) {
			ready := make(chan *block, 1)
			select {
			case ahead <- ready:
			case <-stop:
				return
			}
			makers.Go(func() { ready <- x.fill(used.Get().(*block), devices) })
		}
	})
	for ready := range ahead {
		b := <-ready
		if err := x.writeBlock(b); err != nil {
			return err
		}
		used.Put(b)
	}
	return x.Close()
}

// fill makes the pieces of some devices, up to the first that cannot be made.
func (x *Stream) fill(b *block, devices []device.Device) *block {
	b.octets, b.ends, b.err = b.octets[:0], b.ends[:0], nil
	for i := range devices {
		if b.octets, b.err = x.Append(b.octets, &devices[i]); b.err != nil {
			break
		}
		b.ends = append(b.ends, len(b.octets))
	}
	return b
}

func (x *Stream) writeBlock(b *block) error {
	from := 0
	for _, end := range b.ends {
		if err := x.Write(b.octets[from:end]); err != nil {
			return err
		}
		from = end
	}
	return b.err
}

// newJSONStream puts the devices where the document without any has its empty
// list.
func newJSONStream(w io.Writer, s *device.Survey) (*Stream, error) {
	doc := *s
	doc.Schema = device.SurveySchema
	doc.Devices = nil
	whole, err := newJSONEncoder("").encode(doc)
	if err != nil {
		return nil, err
	}
	const list, none = "\n  \"devices\": [", "]" // indented by two, so of the survey itself; texts hold no line break
	head, tail, ok := bytes.Cut(whole, []byte(list+none))
	if !ok {
		return nil, fmt.Errorf("the form of a survey has no place for its devices")
	}
	if _, err := w.Write(append(head, list...)); err != nil {
		return nil, err
	}
	encoders := sync.Pool{New: func() any { return new(deviceJSON) }}
	piece := func(b *bytes.Buffer, d *device.Device) error {
		e := encoders.Get().(*deviceJSON)
		defer encoders.Put(e)
		one, err := e.encode(d)
		b.WriteByte('\n')
		b.Write(one)
		return err
	}
	return &Stream{w: w, piece: piece, comma: ",", none: none, last: "\n  ]", tail: tail}, nil
}

// Brief returns as much of a judged device as Write shows of it in a format
// that needs all devices at once: the same page comes out of it, and it takes a
// fraction of the memory. What other formats show it keeps whole.
func Brief(d *device.Device, o Options) device.Device {
	if o.Format != "" && o.Format != Table && o.Format != Markdown {
		return *d
	}
	out := device.Device{
		Key: d.Key, Site: d.Site, Name: d.Name, Role: d.Role, Addresses: d.Addresses, Hostname: d.Hostname,
		MakeModel: d.MakeModel, Serial: d.Serial, Location: d.Location, Sole: d.Sole, Reached: d.Reached,
		Attention: d.Attention, Urgency: d.Urgency, Supplies: briefSupplies(d),
	}
	out.Counters.Life = d.Counters.Life
	if o.Explain {
		out.Findings, out.NotJudged, out.Errors = d.Findings, d.NotJudged, d.Errors
		return out
	}
	if d.Why() != "" || d.NextStep() != "" {
		worst := device.Finding{Impact: device.Impact(d.Attention), Summary: d.Why()}
		worst.Advice.Steps = []string{d.NextStep()}
		out.Findings = []device.Finding{worst}
	}
	return out
}

// briefSupplies are those that the column of the lowest level is made of.
func briefSupplies(d *device.Device) []device.Supply {
	if s, ok := d.Lowest(); ok {
		return []device.Supply{s}
	}
	return counted(d)
}
