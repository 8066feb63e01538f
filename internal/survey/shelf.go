package survey

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"slices"
	"sync"
	"sync/atomic"
	"syscall"

	"printround/internal/device"
)

// DefaultKeep is how many readings a shelf keeps in memory as they are: about
// 16 MB of full devices.
const DefaultKeep = 1000

// Shelf keeps what was read of each device until the report is written. Few
// readings stay in memory; once there are more, all of them go to a temporary
// file, so that memory is bounded by how many devices are read at once and not
// by how many there are. The file has no name any more while it is in use
// (Windows: it goes when the process does), and only its owner may read it.
//
// Where no file can be made or the disk is full, readings are kept in memory in
// their encoded form, and Problem says so. A shelf may be used by several
// surveys at the same time.
type Shelf struct {
	folder string // of the temporary file; empty: the system's
	keep   int

	filing atomic.Bool // readings are encoded from now on
	mu     sync.Mutex
	slots  []slot
	loose  [][]byte // encoded, and no room for them in a file
	file   *os.File
	size   int64
	err    error // why there is no file, or no more of it
}

// slot says where a reading is.
type slot struct {
	view   *device.Device // as it is; nil: encoded
	at     int64          // in the file; below 0: ^at is the place among the loose ones
	length int            // in the file
}

// ref is the number of a slot.
type ref int32

// none refers to no reading.
const none ref = -1

// NewShelf returns a shelf that keeps so many readings as they are before it
// makes its file in the folder, or in the system's folder for temporary files
// when that is empty.
func NewShelf(folder string, keep int) *Shelf { return &Shelf{folder: folder, keep: keep} }

// put keeps a reading.
func (s *Shelf) put(v *device.Device) ref {
	var encoded []byte
	if s.filing.Load() {
		encoded = encodeReading(v) // apart from the lock: every reader is here
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	n := len(s.slots)
	s.slots = append(s.slots, slot{view: v})
	switch {
	case encoded != nil:
		s.store(n, encoded)
	case n >= s.keep:
		s.filing.Store(true)
		for i := range s.slots {
			if s.slots[i].view != nil {
				s.store(i, encodeReading(s.slots[i].view))
			}
		}
	}
	return ref(n)
}

// store moves a reading out of memory.
func (s *Shelf) store(n int, encoded []byte) {
	if s.err == nil && s.file == nil {
		s.file, s.err = createHidden(s.folder)
	}
	if s.err == nil {
		_, s.err = s.file.WriteAt(encoded, s.size)
	}
	if s.err != nil {
		s.loose = append(s.loose, encoded)
		s.slots[n] = slot{at: ^int64(len(s.loose) - 1)}
		return
	}
	s.slots[n] = slot{at: s.size, length: len(encoded)}
	s.size += int64(len(encoded))
}

// drop forgets a reading that turned out to be known already.
func (s *Shelf) drop(r ref) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.slots[r].view = nil
}

// get returns a reading. The lists in it may be shared with other calls.
func (s *Shelf) get(r ref) (device.Device, error) {
	s.mu.Lock()
	at := s.slots[r]
	var encoded []byte
	if at.view == nil && at.at < 0 {
		encoded = s.loose[^at.at]
	}
	s.mu.Unlock()
	if at.view != nil {
		return *at.view, nil
	}
	if encoded != nil {
		return decodeReading(encoded)
	}
	room := fromFile.Get().(*[]byte)
	defer fromFile.Put(room)
	*room = slices.Grow((*room)[:0], at.length)[:at.length]
	if _, err := s.file.ReadAt(*room, at.at); err != nil {
		return device.Device{}, fmt.Errorf("reading back what devices said: %w", cause(err))
	}
	return decodeReading(*room) // which shares nothing with its input
}

// fromFile lends room for one encoded reading.
var fromFile = sync.Pool{New: func() any { return new([]byte) }}

// Problem says in one line why readings are kept in memory that should be in a
// file; empty when nothing is wrong.
func (s *Shelf) Problem() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.err == nil {
		return ""
	}
	folder := s.folder
	if folder == "" {
		folder = os.TempDir()
	}
	hint := "name a folder that can be written to in " + tempVariable
	if errors.Is(s.err, syscall.ENOSPC) {
		hint = "the disk is full, name a folder with room in " + tempVariable
	}
	return fmt.Sprintf("temporary folder %s: %v; what devices said is kept in memory instead: %s", folder, cause(s.err), hint)
}

// Close gives back the memory and the file. Nothing can be read afterwards.
func (s *Shelf) Close() {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.slots, s.loose = nil, nil
	if s.file != nil {
		closeHidden(s.file)
		s.file = nil
	}
}

// cause leaves the name of the temporary file out of an error: it is gone.
func cause(err error) error {
	var p *fs.PathError
	if errors.As(err, &p) {
		return p.Err
	}
	return err
}
