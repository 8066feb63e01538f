package queue

import (
	"slices"
	"strings"
	"testing"
	"time"

	"printround/internal/device"
)

var noon = time.Date(2025, 3, 4, 12, 0, 0, 0, time.UTC)

// reading is a printer with jobs, seconds after noon.
func reading(after int, state string, reasons []string, jobs ...device.QueueJob) *device.QueueReading {
	return &device.QueueReading{
		At: noon.Add(time.Duration(after) * time.Second), Role: device.RolePrinter,
		State: device.Text(state), Reasons: reasons, Jobs: jobs,
	}
}

func job(id int, state string, more ...func(*device.QueueJob)) device.QueueJob {
	j := device.QueueJob{Job: device.Job{ID: id, State: device.Text(state)}}
	for _, m := range more {
		m(&j)
	}
	return j
}

func pages(done, total int64) func(*device.QueueJob) {
	return func(j *device.QueueJob) { j.Pages, j.Total = &done, &total }
}
func octets(n int64) func(*device.QueueJob) { return func(j *device.QueueJob) { j.Octets = &n } }
func sheets(n int64) func(*device.QueueJob) { return func(j *device.QueueJob) { j.Sheets = &n } }
func age(s int64) func(*device.QueueJob)    { return func(j *device.QueueJob) { j.AgeS = &s } }
func active(s int64) func(*device.QueueJob) { return func(j *device.QueueJob) { j.ActiveS = &s } }
func because(r ...string) func(*device.QueueJob) {
	return func(j *device.QueueJob) { j.Reasons = r }
}

// The rules are those of RFC 8011: section 5.3.7 job-state (pending: a candidate
// for processing; pending-held: no candidate; processing-stopped: returns to
// processing once the reasons are gone), 5.3.8 job-state-reasons, 5.4.11
// printer-state (stopped: no job can be processed, somebody has to intervene),
// 5.4.12 printer-state-reasons with their suffixes. The times of patience are
// common practice, no source.
func TestVerdicts(t *testing.T) {
	const moving, waiting, stalled, empty = device.QueueMoving, device.QueueWaiting, device.QueueStalled, device.QueueEmpty
	type jobs = []device.QueueJob
	none := 0
	for name, c := range map[string]struct {
		state    string
		reasons  []string
		first    jobs
		last     jobs
		verdict  device.QueueVerdict
		blocking int    // 0: none
		why      string // part of the first reason
	}{
		"nothing in it":                   {state: "idle", verdict: empty, why: "no job"},
		"a page came out":                 {"processing", nil, jobs{job(1, "processing", pages(3, 9))}, jobs{job(1, "processing", pages(5, 9))}, moving, none, "put out 2 pages"},
		"a sheet came out":                {"processing", nil, jobs{job(1, "processing", sheets(0))}, jobs{job(1, "processing", sheets(1))}, moving, none, "put out 1 sheet"},
		"its data is worked on":           {"processing", nil, jobs{job(1, "processing", octets(100), active(3000))}, jobs{job(1, "processing", octets(200), active(3010))}, moving, none, "more of its data"},
		"the first has left":              {"processing", nil, jobs{job(1, "processing"), job(2, "pending")}, jobs{job(2, "processing")}, moving, none, "job 1 has left"},
		"the next has begun":              {"processing", nil, jobs{job(1, "pending")}, jobs{job(1, "processing")}, moving, none, "has begun"},
		"it goes on":                      {"processing", nil, jobs{job(1, "processing-stopped")}, jobs{job(1, "processing")}, moving, none, "goes on"},
		"completed and still listed":      {"processing", nil, jobs{job(1, "processing"), job(2, "pending")}, jobs{job(1, "completed"), job(2, "pending")}, moving, none, "job 1 has left"},
		"a first page takes its time":     {"processing", nil, jobs{job(1, "processing", pages(0, 4), active(90))}, jobs{job(1, "processing", pages(0, 4), active(100))}, moving, none, "usual before a first page"},
		"no page for long":                {"processing", nil, jobs{job(1, "processing", pages(0, 48), active(9000)), job(2, "pending")}, jobs{job(1, "processing", pages(0, 48), active(9010)), job(2, "pending")}, stalled, 1, "0 of 48 pages"},
		"one behind it was withdrawn":     {"processing", nil, jobs{job(1, "processing", pages(0, 48), active(9000)), job(2, "pending")}, jobs{job(1, "processing", pages(0, 48), active(9010))}, stalled, 1, "job 1"},
		"stopped half way for long":       {"processing", nil, jobs{job(1, "processing", pages(7, 48), age(700))}, jobs{job(1, "processing", pages(7, 48), age(710))}, stalled, 1, "7 of 48"},
		"since when is not known":         {"processing", nil, jobs{job(1, "processing")}, jobs{job(1, "processing")}, moving, none, "not known"},
		"jam":                             {"stopped", []string{"media-jam-error"}, jobs{job(1, "processing-stopped"), job(2, "pending")}, jobs{job(1, "processing-stopped"), job(2, "pending")}, waiting, 1, "media-jam-error"},
		"jam without a job begun":         {"stopped", []string{"media-jam"}, jobs{job(2, "pending")}, jobs{job(2, "pending")}, waiting, none, "media-jam"},
		"jam after progress":              {"stopped", []string{"media-jam-error"}, jobs{job(1, "processing", pages(1, 9))}, jobs{job(1, "processing-stopped", pages(2, 9))}, waiting, 1, "media-jam-error"},
		"stopped without a word":          {"stopped", nil, jobs{job(2, "pending")}, jobs{job(2, "pending")}, waiting, none, "does not say why"},
		"stopped, warnings only":          {"stopped", []string{"toner-low-warning"}, jobs{job(2, "pending")}, jobs{job(2, "pending")}, waiting, none, "toner-low-warning"},
		"stopped, error beside a report":  {"stopped", []string{"toner-low-report", "cover-open"}, jobs{job(2, "pending")}, jobs{job(2, "pending")}, waiting, none, "cover-open"},
		"wants a medium":                  {"processing", nil, jobs{job(1, "processing-stopped", because("resources-are-not-ready"))}, jobs{job(1, "processing-stopped", because("resources-are-not-ready"))}, waiting, 1, "medium"},
		"media needed":                    {"idle", []string{"media-needed-error"}, jobs{job(1, "processing-stopped")}, jobs{job(1, "processing-stopped")}, waiting, 1, "media-needed-error"},
		"interrupted, nobody says why":    {"idle", nil, jobs{job(1, "processing-stopped"), job(2, "pending")}, jobs{job(1, "processing-stopped"), job(2, "pending")}, stalled, 1, "neither"},
		"idle and not begun":              {"idle", nil, jobs{job(1, "pending", age(600))}, jobs{job(1, "pending", age(610))}, stalled, 1, "though the printer is idle"},
		"idle, just come":                 {"idle", nil, jobs{job(1, "pending", age(20))}, jobs{job(1, "pending", age(30))}, waiting, none, "waking"},
		"idle, age not known":             {"idle", nil, jobs{job(1, "pending")}, jobs{job(1, "pending")}, stalled, 1, "not known"},
		"state not told":                  {"", nil, jobs{job(1, "pending", age(900))}, jobs{job(1, "pending", age(910))}, stalled, 1, "does not tell"},
		"busy with something else":        {"processing", nil, jobs{job(1, "pending", age(900))}, jobs{job(1, "pending", age(910))}, waiting, none, "not in this queue"},
		"never sent to its end":           {"processing", nil, jobs{job(1, "processing", because("submission-interrupted"))}, jobs{job(1, "processing", because("submission-interrupted"))}, stalled, 1, "never sent"},
		"waits for its data":              {"idle", nil, jobs{job(1, "pending", because("job-data-insufficient"))}, jobs{job(1, "pending", because("job-data-insufficient"))}, stalled, 1, "data"},
		"all held":                        {"idle", nil, jobs{job(1, "pending-held"), job(2, "pending-held")}, jobs{job(1, "pending-held"), job(2, "pending-held")}, waiting, none, "all 2 jobs listed are held"},
		"the held one is not next":        {"idle", nil, jobs{job(1, "pending-held", age(9000)), job(2, "pending", age(900))}, jobs{job(1, "pending-held", age(9000)), job(2, "pending", age(910))}, stalled, 2, "job 2 is next"},
		"a server does not reach it":      {"processing", []string{"connecting-to-device"}, jobs{job(1, "processing", age(900))}, jobs{job(1, "processing", age(910))}, waiting, 1, "connecting-to-device"},
		"a report is no reason to wait":   {"idle", []string{"media-empty-report"}, jobs{job(1, "pending", age(900))}, jobs{job(1, "pending", age(910))}, stalled, 1, "idle"},
		"an error while idle is":          {"idle", []string{"media-empty-error"}, jobs{job(1, "pending", age(900))}, jobs{job(1, "pending", age(910))}, waiting, none, "media-empty-error"},
		"the second printer of a class":   {"processing", nil, jobs{job(1, "processing", pages(0, 9), active(9000)), job(2, "processing", pages(1, 9))}, jobs{job(1, "processing", pages(0, 9), active(9010)), job(2, "processing", pages(2, 9))}, moving, none, "job 2 put out"},
		"a state that nobody registered":  {"idle", nil, jobs{job(1, "")}, jobs{job(1, "", age(9000))}, stalled, 1, "job 1"},
		"counters that run backwards":     {"processing", nil, jobs{job(1, "processing", pages(9, 9), active(700))}, jobs{job(1, "processing", pages(0, 9), active(710))}, stalled, 1, "job 1"},
		"canceled ones are no candidates": {"idle", nil, jobs{job(1, "canceled"), job(2, "pending-held")}, jobs{job(1, "canceled"), job(2, "pending-held")}, waiting, none, "held"},
	} {
		t.Run(name, func(t *testing.T) {
			r := Judge(reading(0, c.state, c.reasons, c.first...), reading(10, c.state, c.reasons, c.last...))
			got := 0
			if r.Blocking != nil {
				got = *r.Blocking
			}
			if r.Verdict != c.verdict || got != c.blocking || !strings.Contains(r.Why[0], c.why) {
				t.Errorf("got %s, blocked by %d, %q; want %s, %d, %q", r.Verdict, got, r.Why, c.verdict, c.blocking, c.why)
			}
			if r.IntervalS != 10 {
				t.Errorf("interval %d s, want 10", r.IntervalS)
			}
		})
	}
}

func TestServerQueues(t *testing.T) {
	server := func(r *device.QueueReading) *device.QueueReading { r.Role = device.RoleServerQueue; return r }
	paused := server(reading(0, "stopped", []string{"paused"}, job(1, "pending", age(900))))
	if r := Judge(paused, paused); r.Verdict != device.QueueStalled || r.Blocking != nil || !strings.Contains(r.Why[0], "paused") || !strings.Contains(strings.Join(r.Steps, " "), "Resume") {
		t.Errorf("a paused queue: %s, %v, %v", r.Verdict, r.Why, r.Steps)
	}
	away := server(reading(0, "processing", []string{"offline-report"}, job(1, "processing", active(30))))
	if r := Judge(away, away); r.Verdict != device.QueueWaiting {
		t.Errorf("a server that does not reach its device: %s, %v", r.Verdict, r.Why)
	}
}

// queued-job-count may count jobs that Get-Jobs does not list (RFC 8011 sections
// 4.2.6 and 5.4.24).
func TestCountedAndNotListed(t *testing.T) {
	counted := func(n int, state string) *device.QueueReading {
		r := reading(0, state, nil)
		r.Queued = &n
		return r
	}
	for _, c := range []struct {
		a, b  int
		state string
		want  device.QueueVerdict
	}{
		{5, 3, "processing", device.QueueMoving}, {3, 3, "processing", device.QueueMoving},
		{3, 3, "idle", device.QueueWaiting}, {0, 0, "idle", device.QueueEmpty},
	} {
		if r := Judge(counted(c.a, c.state), counted(c.b, c.state)); r.Verdict != c.want {
			t.Errorf("%d, then %d jobs counted, %s: %s, want %s", c.a, c.b, c.state, r.Verdict, c.want)
		}
	}
}

func TestContext(t *testing.T) {
	no, many := false, 300
	r := reading(0, "idle", nil, job(1, "pending", age(900)), job(2, "pending"), job(3, "pending-held"))
	r.Accepting, r.Queued = &no, &many
	got := strings.Join(Judge(r, r).Why, "; ")
	for _, want := range []string{"no new jobs", "300 jobs are counted and 3 listed", "1 job waits behind job 1"} {
		if !strings.Contains(got, want) {
			t.Errorf("%q lacks %q", got, want)
		}
	}
}

func TestInterval(t *testing.T) {
	for ppm, want := range map[int64]time.Duration{0: 10 * time.Second, -1: 10 * time.Second, 60: 5 * time.Second, 20: 9 * time.Second, 12: 15 * time.Second, 1: 30 * time.Second} {
		r := reading(0, "idle", nil)
		r.Speed = &ppm
		if got := Interval(r); got != want {
			t.Errorf("%d pages a minute: %s, want %s", ppm, got, want)
		}
	}
	if got := Interval(reading(0, "idle", nil)); got != 10*time.Second {
		t.Errorf("speed not known: %s", got)
	}
}

func TestFollow(t *testing.T) {
	stuck := func(done, active_ int64) device.QueueJob {
		return job(2, "processing", pages(done, 9), active(active_))
	}
	for name, c := range map[string]struct {
		removed  int
		readings []*device.QueueReading
		healthy  bool
		culprit  string
		words    string
		innocent bool // the removed job was not seen to block
	}{
		"a removed one that blocked nothing": {1, []*device.QueueReading{
			reading(0, "processing", nil, stuck(0, 0)), reading(10, "processing", nil, stuck(2, 10)),
		}, true, "unknown", "need not have been the culprit", true},
		"the next one prints": {1, []*device.QueueReading{
			reading(0, "processing", nil, stuck(0, 0)), reading(10, "processing", nil, stuck(2, 10)), reading(20, "idle", nil),
		}, true, "yes", "Job 1 was the culprit", false},
		"the next one is stuck too": {1, []*device.QueueReading{
			reading(0, "processing", nil, stuck(0, 0)), reading(70, "processing", nil, stuck(0, 70)), reading(140, "processing", nil, stuck(0, 140)),
		}, false, "no", "was not the culprit", false},
		"nothing else came": {1, []*device.QueueReading{reading(0, "idle", nil), reading(10, "idle", nil)}, true, "unknown", "with the next job", false},
		"the device stops": {1, []*device.QueueReading{
			reading(0, "processing", nil, stuck(0, 0)), reading(10, "stopped", []string{"media-jam-error"}, job(2, "processing-stopped")),
		}, false, "no", "media-jam-error", false},
		"trouble in between": {1, []*device.QueueReading{
			reading(0, "processing", nil, stuck(0, 0)), reading(10, "stopped", []string{"cover-open-error"}, job(2, "processing-stopped")),
			reading(20, "processing", nil, stuck(3, 20)),
		}, false, "unknown", "may not have been the only", false},
		"nothing was removed": {0, []*device.QueueReading{reading(0, "idle", nil), reading(10, "idle", nil)}, true, "", "stayed healthy", false},
		"the removed one is still being taken out": {1, []*device.QueueReading{
			reading(0, "processing", nil, job(1, "processing"), stuck(0, 0)), reading(10, "idle", nil, job(2, "pending", age(20))),
			reading(20, "processing", nil, stuck(1, 2)),
		}, true, "yes", "1 job moved", false},
	} {
		t.Run(name, func(t *testing.T) {
			f := Follow(c.readings[0], c.removed, !c.innocent)
			for _, r := range c.readings[1:] {
				f.See(r)
			}
			o := f.End()
			if o.Healthy != c.healthy || o.Culprit != c.culprit || !strings.Contains(o.Words, c.words) {
				t.Errorf("healthy %v, culprit %q: %s; want %v, %q, %q", o.Healthy, o.Culprit, o.Words, c.healthy, c.culprit, c.words)
			}
		})
	}
}

func TestFollowSaysWhatChanged(t *testing.T) {
	f := Follow(reading(0, "processing", nil, job(2, "processing", pages(0, 9))), 1, true)
	lines := f.See(reading(10, "processing", nil, job(2, "processing", pages(4, 9)), job(5, "pending")))
	want := []string{"job 2 put out 4 pages", "job 5 came"}
	if !slices.Equal(lines, want) {
		t.Errorf("got %q, want %q", lines, want)
	}
	if lines := f.See(reading(20, "processing", nil, job(2, "processing", pages(4, 9)), job(5, "pending"))); len(lines) != 0 {
		t.Errorf("nothing changed, and it says %q", lines)
	}
}
