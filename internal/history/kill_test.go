package history

import (
	"bufio"
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"testing"
	"time"
)

// writerOf tells the test binary that it is the child that records nights.
const writerOf = "PRINTROUND_TEST_WRITER"

func TestMain(m *testing.M) {
	if path := os.Getenv(writerOf); path != "" {
		if err := writeNights(path); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
	}
	os.Exit(m.Run())
}

// writeNights records nights until it is killed and says each one that is
// kept.
func writeNights(path string) error {
	s, err := Open(path, Options{})
	if err != nil {
		return err
	}
	runs, err := s.Runs(context.Background(), time.Time{}, time.Time{})
	if err != nil {
		return err
	}
	fmt.Println("open")
	for n := len(runs); ; n++ {
		r, err := s.Record(context.Background(), office(killOffice, n), RunInfo{})
		if err != nil {
			return err
		}
		fmt.Println(r.Run)
		if n%7 == 6 {
			if _, err := s.Prune(context.Background(), night(n-20)); err != nil {
				return err
			}
		}
	}
}

const killOffice = 60 // devices of a night

// A writer is killed at random moments (SIGKILL, no chance to clean up): every
// night that it called kept is there whole, and the next one goes on.
// PRINTROUND_KILLS says how often, 100 before a release.
func TestKilledAtAnyMoment(t *testing.T) {
	kills := 8
	if v, err := strconv.Atoi(os.Getenv("PRINTROUND_KILLS")); err == nil {
		kills = v
	}
	seed := uint64(time.Now().UnixNano())
	t.Logf("seed %d, %d kills", seed, kills)
	random := rand.New(rand.NewPCG(seed, 1))
	path := filepath.Join(t.TempDir(), "history.db")
	var told, runs int64
	for i := range kills {
		last := killWriter(t, path, random)
		told = max(told, last)
		s, err := Open(path, Options{})
		if err != nil {
			t.Fatalf("kill %d: %v", i, err)
		}
		sound(t, s)
		var kept, short int64
		if err := s.db.QueryRow("SELECT coalesce(max(id), 0) FROM run").Scan(&kept); err != nil {
			t.Fatal(err)
		}
		err = s.db.QueryRow(`SELECT count(*) FROM run WHERE id IN (SELECT run FROM night) AND
			(answered <> ? OR answered <> (SELECT count(*) FROM night WHERE run = run.id))`, killOffice).Scan(&short)
		if err != nil || short > 0 {
			t.Errorf("kill %d: %d runs are not whole: %v", i, short, err)
		}
		if kept < told {
			t.Errorf("kill %d: run %d was called kept, the last one is %d", i, told, kept)
		}
		runs = kept
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	}
	t.Logf("%d runs kept", runs)
	if runs == 0 {
		t.Error("no run was kept: the kills came too early to show anything")
	}
}

// killWriter starts a writer, kills it after a random number of nights and a
// random time, and returns the last run that it called kept.
func killWriter(t *testing.T, path string, random *rand.Rand) (last int64) {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	c := exec.Command(self)
	c.Env = append(os.Environ(), writerOf+"="+path)
	c.Stderr = os.Stderr
	out, err := c.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := c.Start(); err != nil {
		t.Fatal(err)
	}
	lines := bufio.NewScanner(out)
	after := random.IntN(8) // lines; the first says that the file is open
	for n := 0; lines.Scan(); n++ {
		if run, err := strconv.ParseInt(lines.Text(), 10, 64); err == nil {
			last = run
		}
		if n == after {
			// Somewhere in the middle of the next night or the pruning behind it.
			time.AfterFunc(time.Duration(random.IntN(60_000))*time.Microsecond, func() { _ = c.Process.Kill() })
		}
	}
	if err := c.Wait(); err == nil {
		t.Fatal("the writer ended by itself")
	}
	return last
}
