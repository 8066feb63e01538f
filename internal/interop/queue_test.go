package interop

import (
	"errors"
	"net/netip"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"printround/internal/device"
	"printround/internal/ipp"
	"printround/internal/ipp/act"
	"printround/internal/needtest"
	"printround/internal/queue"
	"printround/internal/survey"
)

// The queue of the sample IPP printer while a job runs, as ipptool prints it,
// and after the job was canceled. It takes one job at a time.
func TestQueueOfSamplePrinter(t *testing.T) {
	release := filepath.Join(t.TempDir(), "release")
	p := startPrinter(t, `n=0
while [ ! -e `+release+` ] && [ $n -lt 300 ]; do sleep 0.1; n=$((n+1)); done
exit 0`, "-f", "text/plain")
	s, err := survey.OpenQueue(t.Context(), survey.IPPTarget{Addr: netip.MustParseAddr("127.0.0.1"), Port: p.port, Path: "/ipp/print"}, true, reading631(t))
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	if r := readQueue(t, s); !queue.Settled(r) || queue.Judge(r, r).Verdict != device.QueueEmpty {
		t.Errorf("before the job: %+v", r)
	}
	job := filepath.Join(t.TempDir(), "job.txt")
	writeFile(t, job, "A line for the sample printer of the lab.\n")
	if out, err := run(t, needtest.Program(t, "ipptool"), "-tv", "-f", job, p.uri, "print-job.test"); err != nil {
		t.Fatalf("ipptool: %v\n%s", err, tail(out, 20))
	}
	r := awaitQueue(t, s, func(r *device.QueueReading) bool { return len(r.Jobs) == 1 && r.Jobs[0].State == "processing" })
	out, err := run(t, needtest.Program(t, "ipptool"), "-tv", p.uri, "get-jobs.test")
	if err != nil {
		t.Fatalf("ipptool: %v\n%s", err, tail(out, 20))
	}
	if !strings.Contains(out, "job-id (integer) = 1\n") || !strings.Contains(out, "job-state (enum) = processing\n") {
		t.Errorf("ipptool says otherwise than %+v:\n%s", r.Jobs[0], tail(out, 40))
	}
	if r.Jobs[0].ID != 1 || r.Jobs[0].Name != "" || r.State != "processing" {
		t.Errorf("read: %+v in %+v", r.Jobs[0], r)
	}
	if got := queue.Judge(r, readQueue(t, s)); got.Verdict != device.QueueMoving {
		t.Errorf("a job that has just begun: %s, %v", got.Verdict, got.Why)
	}
	cancelOnSample(t, string(r.URI), release)
	r = awaitQueue(t, s, queue.Settled)
	if got := queue.Judge(r, r); got.Verdict != device.QueueEmpty {
		t.Errorf("after the cancel: %s, %v", got.Verdict, got.Why)
	}
}

// cancelOnSample takes job 1 out, as the command does, and lets the program
// behind the job end, which the sample printer waits for.
func cancelOnSample(t *testing.T, uri, release string) {
	t.Helper()
	pr, err := act.Open(t.Context(), uri, ipp.Options{Timeout: 10 * time.Second})
	if err != nil {
		t.Fatal(err)
	}
	defer pr.Close()
	if !pr.CanCancel() {
		t.Fatal("the sample printer lists Cancel-Job, and it is not seen")
	}
	if err := pr.Cancel(t.Context(), 99); !errors.Is(err, act.ErrNoSuchJob) {
		t.Errorf("a job that is not there: %v", err)
	}
	if err := pr.Cancel(t.Context(), 1); err != nil {
		t.Fatalf("canceling: %v", err)
	}
	writeFile(t, release, "")
	deadline := time.Now().Add(20 * time.Second)
	for {
		st, err := pr.Find(t.Context(), 1)
		if err != nil {
			t.Fatal(err)
		}
		if st.State == ipp.JobStateCanceled {
			break
		}
		if time.Now().After(deadline) {
			t.Fatalf("the job is %s, want canceled", st.State)
		}
		time.Sleep(50 * time.Millisecond)
	}
	if err := pr.Cancel(t.Context(), 1); !act.NotPossible(err) {
		t.Errorf("canceling what is canceled: %v, want client-error-not-possible (RFC 8011 section 4.3.3)", err)
	}
}

func readQueue(t *testing.T, s *survey.QueueSession) *device.QueueReading {
	t.Helper()
	r, err := s.Read(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func awaitQueue(t *testing.T, s *survey.QueueSession, is func(*device.QueueReading) bool) *device.QueueReading {
	t.Helper()
	deadline := time.Now().Add(20 * time.Second)
	for {
		r := readQueue(t, s)
		if is(r) {
			return r
		}
		if time.Now().After(deadline) {
			t.Fatalf("the queue stays as it is: %+v", r)
		}
		time.Sleep(50 * time.Millisecond)
	}
}

// Another path than the printer's is not silently replaced by it.
func TestQueueAtAnotherPath(t *testing.T) {
	p := startPrinter(t, "exit 0")
	at := survey.IPPTarget{Addr: netip.MustParseAddr("127.0.0.1"), Port: p.port, Path: "/printers/other"}
	if s, err := survey.OpenQueue(t.Context(), at, true, reading631(t)); err == nil {
		r := readQueue(t, s)
		s.Close()
		t.Errorf("asked for /printers/other, read %s", r.URI)
	}
}

func TestIdentifySamplePrinter(t *testing.T) {
	p := startPrinter(t, "exit 0")
	want := strings.Split(printerAttributes(t, p.uri)["identify-actions-supported"], ",")
	pr, err := act.Open(t.Context(), string(readSample(t, p).Reached.IPP.URI), ipp.Options{Timeout: 10 * time.Second})
	if err != nil {
		t.Fatal(err)
	}
	defer pr.Close()
	got, err := pr.IdentifyActions(t.Context())
	slices.Sort(want)
	if s := slices.Sorted(slices.Values(got)); err != nil || len(got) == 0 || !slices.Equal(s, want) {
		t.Fatalf("actions %v (%v), ipptool prints %v", got, err, want)
	}
	if err := pr.Identify(t.Context(), got, "printround looks for this printer"); err != nil {
		t.Errorf("Identify-Printer: %v", err)
	}
}
