package history

import (
	"context"
	"os"
	"path/filepath"
	"testing"
	"time"

	"printround/internal/device"
)

// FuzzLevels holds the reader of levels: it never panics, and what it accepts
// has as many readings as slots, each known or with a reason.
func FuzzLevels(f *testing.F) {
	for _, s := range []string{"[]", "[1]", `[1200,[3,5],"some-left",[300,"unknown"]]`, `["",1]`, "[[1]]", "[-9223372036854775808]", "[1,]", "[,1]", `[[1,0],2,"x",3]`} {
		f.Add(s, 4)
	}
	f.Fuzz(func(t *testing.T, levels string, n int) {
		slots := make([]slot, min(max(n, 0), 64))
		got, err := read(slots, levels)
		if err != nil {
			return
		}
		if len(got) != len(slots) {
			t.Fatalf("%d readings of %d slots", len(got), len(slots))
		}
		for _, r := range got {
			if (r.Percent == nil) == (r.Reason == "") || r.Percent != nil && r.Value == nil {
				t.Fatalf("%q: %+v", levels, r)
			}
		}
	})
}

// FuzzDamagedFile writes octets over a history: opening and reading give the
// nights or an error and never panic.
func FuzzDamagedFile(f *testing.F) {
	whole := filled(f, 2, 4)
	content, err := os.ReadFile(whole)
	if err != nil {
		f.Fatal(err)
	}
	f.Add(0, []byte("SQLite format 4"), len(content))
	f.Add(16, []byte{0, 1}, len(content))
	f.Add(4096, []byte{13, 0, 0, 0xff, 0xff}, len(content))
	f.Add(20000, []byte("[1,2,3"), len(content))
	f.Add(0, []byte{}, 5000)
	f.Fuzz(func(t *testing.T, at int, octets []byte, size int) {
		bad := append([]byte{}, content[:min(max(size, 0), len(content))]...)
		if at >= 0 && at < len(bad) {
			copy(bad[at:], octets)
		}
		path := filepath.Join(t.TempDir(), "history.db")
		if err := os.WriteFile(path, bad, 0o600); err != nil {
			t.Fatal(err)
		}
		ctx := context.Background()
		for _, o := range []Options{{ReadOnly: true}, {}} {
			s, err := Open(path, o)
			if err != nil {
				continue
			}
			_, _ = s.Check(ctx)
			_ = s.AllReadings(ctx, time.Time{}, time.Time{}, func(string, []device.Night) error { return nil })
			known, _ := s.Devices(ctx)
			for _, k := range known {
				_, _ = s.Details(ctx, k.Key, time.Time{}, time.Time{})
				_, _ = s.Standing(ctx, k.Key)
			}
			if !o.ReadOnly {
				_, _ = s.Record(ctx, survey(night(9), printer(0)), RunInfo{})
			}
			_ = s.Close()
		}
	})
}
