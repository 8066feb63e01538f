package survey

import (
	"reflect"
	"testing"
	"time"

	"github.com/OpenPrinting/goipp"

	"printround/internal/device"
	"printround/internal/ipp"
	"printround/internal/queue"
)

// Times are those of RFC 8011 section 5.3.14: seconds of printer-up-time.
func TestQueueOf(t *testing.T) {
	jobs := func(attrs ...goipp.Attribute) goipp.Group { return goipp.Group{Tag: goipp.TagJobGroup, Attrs: attrs} }
	m, err := ipp.Decode(ippEncoded(t,
		jobs(ippInts("job-id", 7), ippAttr("job-state", goipp.TagEnum, 5), ippWords("job-state-reasons", "job-printing"), ippInts("time-at-creation", 100),
			ippInts("time-at-processing", 160), ippInts("job-impressions", 9), ippInts("job-impressions-completed", 2), ippInts("job-media-sheets-completed", 1),
			ippInts("job-k-octets-processed", 44), ippTexts("job-state-message", "now\x1b[31m printing"), ippTexts("job-name", "secret"), ippTexts("job-originating-user-name", "somebody")),
		jobs(ippInts("job-id", 8), ippAttr("job-state", goipp.TagEnum, 3), ippInts("job-impressions", -1), ippInts("time-at-processing", 0)),
		jobs(ippInts("job-id", 7), ippAttr("job-state", goipp.TagEnum, 3)),
		jobs(ippAttr("job-state", goipp.TagEnum, 3)),
	))
	if err != nil {
		t.Fatal(err)
	}
	got := queueOf(m, ippClock{up: 400}, ReadOptions{})
	if len(got) != 2 {
		t.Fatalf("%d jobs, want two: an id twice is one job, and none is no job: %+v", len(got), got)
	}
	n := func(v int64) *int64 { return &v }
	want := device.QueueJob{
		Job:   device.Job{ID: 7, State: "processing", Reasons: []string{"job-printing"}, AgeS: n(300), Pages: n(2)},
		Total: n(9), Sheets: n(1), Octets: n(44), ActiveS: n(240), Message: "now printing",
	}
	if !reflect.DeepEqual(got[0], want) {
		t.Errorf("got  %+v\nwant %+v", got[0], want)
	}
	if j := got[1]; j.Total != nil || j.ActiveS != nil || j.AgeS != nil {
		t.Errorf("what is not known became known: %+v", j)
	}
	if named := queueOf(m, ippClock{up: 400}, ReadOptions{ShowJobNames: true, ShowOwners: true})[0]; named.Name != "secret" || named.Owner != "somebody" {
		t.Errorf("asked for, and not there: %+v", named.Job)
	}
}

// Whatever a device answers becomes clean text and a verdict with a reason.
func FuzzQueue(f *testing.F) {
	f.Add(ippEncoded(f, goipp.Group{Tag: goipp.TagPrinterGroup, Attrs: goipp.Attributes{
		ippAttr("printer-state", goipp.TagEnum, 5), ippWords("printer-state-reasons", "media-jam-error"), ippInts("queued-job-count", 3),
	}}, goipp.Group{Tag: goipp.TagJobGroup, Attrs: goipp.Attributes{
		ippInts("job-id", 1), ippAttr("job-state", goipp.TagEnum, 6), ippInts("time-at-creation", 5), ippInts("time-at-processing", -5), ippTexts("job-state-message", "\x1b[2J"),
	}}))
	f.Fuzz(func(t *testing.T, b []byte) {
		m, _ := ipp.Decode(b)
		if m == nil {
			return
		}
		a := m.First(ipp.PrinterGroup)
		state := ippState(a)
		r := device.QueueReading{At: time.Unix(1e9, 0), State: state.PrinterState, Reasons: state.Reasons, Queued: ippQueue(a).Queued}
		r.Jobs = queueOf(m, clockOf(a), ReadOptions{ShowJobNames: true, ShowOwners: true})
		checkClean(t, reflect.ValueOf(r), "queue")
		last := r
		last.At = r.At.Add(queue.Interval(&r))
		for _, v := range []*device.QueueReport{queue.Judge(&r, &r), queue.Judge(&r, &last)} {
			if v.Verdict == "" || len(v.Why) == 0 || v.Why[0] == "" {
				t.Errorf("no verdict: %+v", v)
			}
		}
		follower := queue.Follow(&r, 1, true)
		follower.See(&last)
		if follower.End().Words == "" {
			t.Error("no outcome")
		}
	})
}
