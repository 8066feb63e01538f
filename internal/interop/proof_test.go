package interop

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"printround/internal/ipp"
	"printround/internal/ipp/act"
	"printround/internal/proof"
	"printround/internal/proof/send"
)

// The sample IPP printer takes the page in each language: it validates the job,
// takes it as asked, keeps it octet by octet, and brings it to its end.
func TestProofOnSamplePrinter(t *testing.T) {
	dir := openDir(t)
	spool := filepath.Join(dir, "kept")
	if err := os.Mkdir(spool, 0o755); err != nil {
		t.Fatal(err)
	}
	formats := "application/pdf,image/pwg-raster,application/postscript,text/plain"
	p := startPrinter(t, `env | grep ^IPP_ > "`+dir+`/asked-$IPP_JOB_ID"; exit 0`,
		"-2", "-s", "20,20", "-l", "Ground floor, lab", "-k", "-d", spool, "-f", formats)
	d := readSample(t, p)
	for n, as := range proof.Formats() {
		t.Run(string(as), func(t *testing.T) {
			pr, err := act.Open(t.Context(), string(d.Reached.IPP.URI), ipp.Options{Timeout: 10 * time.Second})
			if err != nil {
				t.Fatal(err)
			}
			defer pr.Close()
			plan, err := send.Settle(pr.Offer(), d, send.Wish{As: as, Sides: "two-sided-long-edge"})
			if err != nil {
				t.Fatal(err)
			}
			ignored, err := pr.Validate(t.Context(), plan.Settings)
			if err != nil || len(ignored) > 0 {
				t.Fatalf("Validate-Job: %v, ignored %v", err, ignored)
			}
			document, err := plan.Document(d, time.Now(), "test")
			if err != nil {
				t.Fatal(err)
			}
			id, err := pr.Print(t.Context(), plan.Settings, document)
			if err != nil || id != n+1 {
				t.Fatalf("job %d, %v", id, err)
			}
			out := (&send.Follower{Asker: pr, Pause: pause, Now: time.Now, Limit: time.Minute}).Follow(t.Context(), id)
			if out.Verdict != send.Printed {
				t.Fatalf("%+v", out)
			}
			t.Logf("%s: %d octets, %s", as, len(document), out.Took.Round(time.Millisecond))
			// Beside the document lies what the command printed, with the ending prn.
			kept := slices.DeleteFunc(files(t, spool, fmt.Sprintf("%d-*", id)), func(f string) bool { return filepath.Ext(f) == ".prn" })
			if len(kept) != 1 {
				t.Fatalf("kept %v", kept)
			}
			got, err := os.ReadFile(kept[0])
			if err != nil || !bytes.Equal(got, document) {
				t.Errorf("kept %d octets of %d, %v", len(got), len(document), err)
			}
			asked, err := os.ReadFile(filepath.Join(dir, fmt.Sprintf("asked-%d", id)))
			if err != nil {
				t.Fatal(err)
			}
			for _, want := range []string{"IPP_SIDES=two-sided-long-edge", "IPP_JOB_NAME=" + send.JobName, "IPP_DOCUMENT_FORMAT_SUPPLIED=" + as.MIME(), "IPP_MEDIA=" + plan.Settings.Media} {
				if !strings.Contains(string(asked), want+"\n") {
					t.Errorf("%s did not arrive:\n%s", want, asked)
				}
			}
		})
	}
}

func pause(ctx context.Context, d time.Duration) error {
	select {
	case <-time.After(d / 10):
		return nil
	case <-ctx.Done():
		return context.Cause(ctx)
	}
}
