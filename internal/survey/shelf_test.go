package survey

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"net/netip"
	"os"
	"path/filepath"
	"reflect"
	"runtime"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"printround/internal/device"
	"printround/internal/discover"
	"printround/internal/needtest"
	"printround/internal/snmp"
)

// anything is a device with something of every kind in it.
func anything(r *rand.Rand) device.Device {
	var d device.Device
	scatter(r, reflect.ValueOf(&d).Elem())
	return d
}

func scatter(r *rand.Rand, v reflect.Value) {
	switch x := v.Addr().Interface().(type) {
	case *time.Time:
		*x = time.Unix(r.Int64N(4e9), r.Int64N(1e9)).UTC()
		return
	case *netip.Addr:
		*x = []netip.Addr{{}, netip.MustParseAddr("10.1.2.3"), netip.MustParseAddr("fe80::1%eth0")}[r.IntN(3)]
		return
	case *device.Level:
		*x = device.LevelFrom(r.Int64N(130)-5, r.Int64N(120)-5, "percent", device.Remaining)
		return
	case *device.Status:
		*x = device.StatusFrom(r.Int64N(130))
		return
	}
	switch v.Kind() {
	case reflect.String:
		v.SetString([]string{"", "Fach 1 – 給紙", "\xff no UTF-8", "x"}[r.IntN(4)])
	case reflect.Bool:
		v.SetBool(r.IntN(2) == 0)
	case reflect.Int, reflect.Int64:
		v.SetInt(r.Int64() - r.Int64())
	case reflect.Float64:
		v.SetFloat([]float64{0, -0.5, 210.05, 1e300}[r.IntN(4)])
	case reflect.Pointer:
		if r.IntN(3) > 0 { // also to zero, which is not the same as to nothing
			v.Set(reflect.New(v.Type().Elem()))
			scatter(r, v.Elem())
		}
	case reflect.Slice:
		if n := r.IntN(4); n > 0 {
			v.Set(reflect.MakeSlice(v.Type(), n-1, n-1))
			for i := range v.Len() {
				scatter(r, v.Index(i))
			}
		}
	case reflect.Map:
		if r.IntN(2) == 0 {
			v.Set(reflect.ValueOf(map[string]string{"finAttributeType": "", "b": "c"}))
		}
	case reflect.Struct:
		for i := range v.NumField() {
			scatter(r, v.Field(i))
		}
	}
}

// TestReadingsComeBackWhole: every field of a device survives the codec, a
// pointer to zero and an empty list included.
func TestReadingsComeBackWhole(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 8))
	for range 200 {
		want := anything(r)
		got, err := decodeReading(encodeReading(&want))
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(want, got, asData[:2]...); diff != "" {
			t.Fatalf("(-want +got):\n%s", diff)
		}
	}
}

func TestDamagedReading(t *testing.T) {
	d := anything(rand.New(rand.NewPCG(9, 10)))
	b := encodeReading(&d)
	for _, n := range []int{0, 1, len(b) / 2, len(b) - 1} {
		if _, err := decodeReading(b[:n]); err == nil {
			t.Errorf("%d of %d octets were taken for a reading", n, len(b))
		}
	}
}

// fill puts n readings on a shelf, several at a time, and returns where they
// are by their number.
func fill(s *Shelf, n int) []ref {
	at := make([]ref, n)
	var all sync.WaitGroup
	for w := range 4 {
		all.Go(func() {
			for i := w; i < n; i += 4 {
				at[i] = s.put(&device.Device{Urgency: i, Key: "k"})
			}
		})
	}
	all.Wait()
	return at
}

func holdsAll(t *testing.T, s *Shelf, at []ref) {
	t.Helper()
	for i, r := range at {
		if d, err := s.get(r); err != nil || d.Urgency != i || d.Key != "k" {
			t.Fatalf("reading %d is %d (%v)", i, d.Urgency, err)
		}
	}
}

// TestShelf: readings come back from memory, from a file, and from memory when
// there can be no file.
func TestShelf(t *testing.T) {
	folder := t.TempDir()
	tests := []struct {
		name    string
		shelf   *Shelf
		file    bool
		problem string
	}{
		{"few", NewShelf(folder, 100), false, ""},
		{"many", NewShelf(folder, 99), true, ""},
		{"none kept", NewShelf(folder, 0), true, ""},
		{"no folder", NewShelf(filepath.Join(folder, "missing"), 10), false, "no such file or directory; what devices said is kept in memory instead: name a folder"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			holdsAll(t, tt.shelf, fill(tt.shelf, 100))
			if (tt.shelf.file != nil) != tt.file {
				t.Errorf("a file: %v, want %v", tt.shelf.file != nil, tt.file)
			}
			if p := tt.shelf.Problem(); (p == "") != (tt.problem == "") || runtime.GOOS != "windows" && !strings.Contains(p, tt.problem) {
				t.Errorf("problem %q, want %q", p, tt.problem)
			}
			tt.shelf.Close()
			tt.shelf.Close()
			if list, err := os.ReadDir(folder); err != nil || len(list) > 0 {
				t.Errorf("left behind: %v (%v)", list, err)
			}
		})
	}
}

// TestShelfFileIsHidden: others can neither find nor read the file while it is
// in use, so that nothing is left however the process ends.
func TestShelfFileIsHidden(t *testing.T) {
	if runtime.GOOS == "windows" {
		needtest.Missing(t, "files without a name: Windows removes this one with the process")
	}
	folder := t.TempDir()
	s := NewShelf(folder, 0)
	defer s.Close()
	fill(s, 3)
	if list, err := os.ReadDir(folder); err != nil || len(list) > 0 {
		t.Errorf("the file has a name: %v (%v)", list, err)
	}
	info, err := s.file.Stat()
	if err != nil || info.Mode().Perm()&0o077 != 0 || info.Size() == 0 {
		t.Errorf("mode %v, %d octets (%v)", info.Mode(), info.Size(), err)
	}
}

// TestShelfOnFullDisk: what no longer fits is kept in memory, what was written
// before is still there, and the user is told.
func TestShelfOnFullDisk(t *testing.T) {
	full, err := os.OpenFile("/dev/full", os.O_RDWR, 0)
	if err != nil {
		needtest.Missing(t, "/dev/full, which is always full")
	}
	s := NewShelf(t.TempDir(), 0)
	defer s.Close()
	before := fill(s, 10)
	room := s.file
	s.file = full
	at := s.put(&device.Device{Urgency: 10, Key: "k"})
	s.file = room
	holdsAll(t, s, append(before, at))
	if len(s.loose) != 1 {
		t.Errorf("%d readings in memory, want one", len(s.loose))
	}
	if p := s.Problem(); !strings.Contains(p, "no space left on device") || !strings.Contains(p, "a folder with room") || strings.Contains(p, "/dev/full") {
		t.Errorf("problem %q", p)
	}
	full.Close()
}

// TestShelfThatCannotBeReadBack: a survey that is not whole is an error, not a
// shorter survey.
func TestShelfThatCannotBeReadBack(t *testing.T) {
	o := &office{snmp: map[string][]device.Device{"127.0.9.1": {{Serial: "AB1234"}}}, news: []discover.Candidate{printer("127.0.9.1")}}
	s := NewShelf(t.TempDir(), 0)
	defer s.Close()
	f, err := collect(t.Context(), Options{Shelf: s, NoIPP: true, Now: func() time.Time { return testTime }, Credentials: []snmp.Credential{{}}}, o.readers())
	if err != nil {
		t.Fatal(err)
	}
	if err := s.file.Truncate(1); err != nil {
		t.Fatal(err)
	}
	if _, err := f.Survey(); err == nil || !strings.Contains(err.Error(), "reading back what devices said: ") {
		t.Errorf("got %v", err)
	}
}

// TestCollectGivesItsShelfBack: a shelf of the survey's own goes with the
// survey, also when that fails.
func TestCollectGivesItsShelfBack(t *testing.T) {
	if _, err := os.ReadDir("/proc/self/fd"); err != nil {
		needtest.Missing(t, "/proc/self/fd, the list of open files")
	}
	folder := t.TempDir()
	t.Setenv(tempVariable, folder)
	via := crowd(DefaultKeep + 10)
	o := Options{NoIPP: true, Credentials: []snmp.Credential{{}}}
	f, err := collect(t.Context(), o, via)
	if err != nil || f.Len() != DefaultKeep+10 {
		t.Fatalf("%d devices (%v)", f.Len(), err)
	}
	if n := openIn(t, folder); n != 1 {
		t.Errorf("%d files are open, want one", n)
	}
	f.Close()
	if n := openIn(t, folder); n != 0 {
		t.Errorf("%d files are open after closing", n)
	}
	find, lost := via.discover, errors.New("no socket")
	via.discover = func(ctx context.Context, c discover.Config, found chan<- discover.Candidate) (discover.Stats, error) {
		stats, _ := find(ctx, c, found)
		return stats, lost
	}
	if _, err := collect(t.Context(), o, via); !errors.Is(err, lost) {
		t.Errorf("got %v", err)
	}
	if n := openIn(t, folder); n != 0 {
		t.Errorf("%d files are open after an error", n)
	}
}

// openIn counts the files of a folder that this process has open, those
// without a name included.
func openIn(t *testing.T, folder string) int {
	t.Helper()
	list, err := os.ReadDir("/proc/self/fd")
	if err != nil {
		t.Fatal(err)
	}
	n := 0
	for _, e := range list {
		if to, err := os.Readlink("/proc/self/fd/" + e.Name()); err == nil && strings.HasPrefix(to, folder+"/") {
			n++
		}
	}
	return n
}

// crowd is so many printers that tell nothing but their serial number.
func crowd(n int) readers {
	return readers{
		discover: func(_ context.Context, _ discover.Config, found chan<- discover.Candidate) (discover.Stats, error) {
			for i := range n {
				found <- printer(fmt.Sprintf("10.0.%d.%d", i>>8, i&255))
			}
			return discover.Stats{Addresses: n, Probed: n, Answered: n}, nil
		},
		snmp: func(_ context.Context, at netip.AddrPort, _ []snmp.Credential, _ ReadOptions) SNMPResult {
			d := device.Device{Serial: device.Text("AB-" + at.Addr().String()), Addresses: []netip.Addr{at.Addr()}}
			d.Reached.SNMP = device.SNMPReach{OK: true, Tried: true, Version: "2c"}
			return SNMPResult{Views: []device.Device{d}, Indices: []int{1}, Reach: d.Reached.SNMP}
		},
	}
}
