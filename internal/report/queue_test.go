package report_test

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"testing"
	"time"

	"printround/internal/device"
	"printround/internal/queue"
	"printround/internal/report"
)

// stalledQueue is a queue whose first job is stuck, with names that try to be
// more than text.
func stalledQueue() *device.QueueReport {
	n := func(v int64) *int64 { return &v }
	four, yes := 4, true
	at := func(after time.Duration) *device.QueueReading {
		return &device.QueueReading{
			At: looked.Add(after), URI: "ipps://10.0.0.7:631/ipp/print", Name: "Harbour copy", MakeModel: "Okvarna MC34",
			Serial: "OA04711", Location: "Harbour | *office*", Role: device.RolePrinter, State: "processing", Message: "Processing",
			Accepting: &yes, Queued: &four, Jobs: []device.QueueJob{
				{Job: device.Job{ID: 1071, State: "processing", Reasons: []string{"job-printing"}, AgeS: n(9000), Pages: n(0)}, Total: n(48), ActiveS: n(8800)},
				{Job: device.Job{ID: 1072, State: "pending", AgeS: n(7000), Name: "=Berth plan\x1b[31m"}, Total: n(3)},
				{Job: device.Job{ID: 1073, State: "pending-held", AgeS: nil}},
			},
		}
	}
	return queue.Judge(at(0), at(9*time.Second))
}

func longQueue() *device.QueueReport {
	r := device.QueueReading{At: looked, URI: "ipp://10.0.0.8:631/printers/plans", Role: device.RoleServerQueue, State: "stopped", Reasons: []string{"paused"}}
	for i := range 200 {
		r.Jobs = append(r.Jobs, device.QueueJob{Job: device.Job{ID: i + 1, State: "pending"}})
	}
	return queue.Judge(&r, &r)
}

// everyWidth are options at widths from narrow to wide.
func everyWidth(o report.Options) []report.Options {
	var out []report.Options
	for _, o.Width = range []int{30, 60, 80, 133} {
		out = append(out, o)
	}
	return out
}

func writeQueue(t *testing.T, q *device.QueueReport, o report.Options) []byte {
	t.Helper()
	return report.Rendered(t, report.WriteQueue, q, o)
}

func TestQueueGolden(t *testing.T) {
	empty := device.QueueReading{At: looked, URI: "ipp://10.0.0.9:631/ipp/print", Role: device.RolePrinter, State: "idle"}
	for name, c := range map[string]struct {
		q    *device.QueueReport
		opts report.Options
	}{
		"queue-80.txt":    {stalledQueue(), report.Options{Width: 80, Color: true}},
		"queue-40.txt":    {stalledQueue(), report.Options{Width: 40, Plain: true}},
		"queue-long.txt":  {longQueue(), report.Options{Width: 100}},
		"queue-empty.txt": {queue.Judge(&empty, &empty), report.Options{Width: 80}},
		"queue.md":        {stalledQueue(), report.Options{Format: report.Markdown}},
		"queue.csv":       {stalledQueue(), report.Options{Format: report.CSV}},
		"queue.json":      {stalledQueue(), report.Options{Format: report.JSON}},
	} {
		t.Run(name, func(t *testing.T) { report.Golden(t, name, writeQueue(t, c.q, c.opts)) })
	}
}

func TestQueueInEveryForm(t *testing.T) {
	schema := report.Compiled(t, device.QueueSchema)
	for _, q := range []*device.QueueReport{stalledQueue(), longQueue()} {
		for _, o := range everyWidth(report.Options{}) {
			report.CheckText(t, string(writeQueue(t, q, o)), o)
		}
		if err := report.Validate(t, schema, writeQueue(t, q, report.Options{Format: report.JSON})); err != nil {
			t.Error(err)
		}
		rows, err := csv.NewReader(bytes.NewReader(writeQueue(t, q, report.Options{Format: report.CSV, BOM: true}))).ReadAll()
		if err != nil || len(rows) != len(q.Jobs)+1 {
			t.Errorf("%d rows for %d jobs: %v", len(rows), len(q.Jobs), err)
		}
	}
	if err := report.WriteQueue(&bytes.Buffer{}, stalledQueue(), report.Options{Format: report.HTML}); err == nil {
		t.Error("a queue was written as HTML")
	}
}

// The fields that DESIGN promises, by name.
func TestQueueDocument(t *testing.T) {
	var doc struct {
		Schema   string `json:"schema"`
		URI      string `json:"uri"`
		Verdict  string `json:"verdict"`
		Blocking *int   `json:"blocking_job"`
		Jobs     []struct {
			ID    int     `json:"id"`
			Name  *string `json:"name"`
			State string  `json:"state"`
			Done  *int    `json:"pages_done"`
		} `json:"jobs"`
	}
	if err := json.Unmarshal(writeQueue(t, stalledQueue(), report.Options{Format: report.JSON}), &doc); err != nil {
		t.Fatal(err)
	}
	if doc.Schema != "printround.queue/1" || doc.Verdict != "stalled" || doc.Blocking == nil || *doc.Blocking != 1071 || len(doc.Jobs) != 3 || doc.Jobs[0].Name != nil {
		t.Errorf("%+v", doc)
	}
}
