package visit

import (
	"fmt"
	"os"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"printround/internal/device"
	"printround/internal/discover"
	"printround/internal/finding"
	"printround/internal/lab"
	"printround/internal/labtest"
	"printround/internal/site"
)

// wanted says for each condition that the lab knows where a technician puts it
// and which part is brought for it (common practice, no source). It is written
// from the names of the lab's faults, not from the advice.
var wanted = map[string]struct {
	group string // phone or visit
	part  string // class of part to bring; empty: none
}{
	"media-jam":                                 {"phone", ""},
	"cover-open":                                {"phone", ""},
	"interlock-open":                            {"phone", ""},
	"toner-empty":                               {"phone", "toner cartridge"},
	"marker-toner-cartridge-missing":            {"phone", ""}, // somebody took it out
	"marker-ink-empty":                          {"phone", "ink cartridge"},
	"marker-print-ribbon-empty":                 {"phone", "print ribbon"},
	"marker-waste-toner-receptacle-full":        {"phone", "waste toner box"},
	"marker-waste-ink-receptacle-full":          {"phone", "waste ink box"},
	"media-empty":                               {"phone", ""}, // the office has paper
	"media-needed":                              {"phone", ""},
	"input-tray-missing":                        {"phone", ""},
	"output-area-full":                          {"phone", ""},
	"fuser-over-temp":                           {"visit", "fuser unit"},
	"opc-life-over":                             {"visit", "drum unit"},
	"subunit-offline":                           {"phone", ""},
	"derived-no-answer":                         {"phone", ""},
	"derived-queue-stalled":                     {"phone", ""},
	"derived-media-mismatch":                    {"phone", ""},
	"stapler-empty":                             {"phone", "staple cartridge"},
	"puncher-full":                              {"phone", ""},
	"scan-media-path-jam":                       {"phone", ""},
	"subunit-life-over":                         {"visit", "fuser unit"}, // the lab's fuser
	"toner-low":                                 {"visit", "toner cartridge"},
	"marker-ink-almost-empty":                   {"visit", "ink cartridge"},
	"marker-print-ribbon-almost-empty":          {"visit", "print ribbon"},
	"marker-waste-toner-receptacle-almost-full": {"visit", "waste toner box"},
	"marker-waste-ink-receptacle-almost-full":   {"visit", "waste ink box"},
	"opc-near-eol":                              {"visit", "drum unit"},
	"input-pick-roller-life-warn":               {"visit", "feed roller kit"},
	"derived-default-orientation":               {"phone", ""},
	"derived-language-missing":                  {"phone", ""},
}

// In the plan of the lab every fault is once, in the right group, with the right
// part, and nothing else asks for anybody: with the faults of the scenario and
// with faults drawn at random.
func TestPlanOfTheLab(t *testing.T) {
	var mu sync.Mutex
	seen := map[string]bool{}
	t.Cleanup(func() { // after the parallel labs
		for c := range wanted {
			if !seen[c] {
				t.Logf("%s: no lab of these seeds has it", c)
			}
		}
		t.Logf("%d of %d conditions of the lab seen", len(seen), len(wanted))
	})
	for name, o := range labs(t) {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			l := labtest.Start(t, o)
			s, file := surveyOf(t, l)
			v := Make(s, Options{
				HorizonDays: 14, BringProbability: DefaultBring, Catalogue: file.Catalogue, Now: s.Finished, Foresee: finding.Foreseen,
			})
			for _, d := range l.Devices() {
				checkDevice(t, v, s, file, d)
				mu.Lock()
				for _, c := range d.Conditions {
					seen[c] = true
				}
				mu.Unlock()
			}
			checkNothingElse(t, v, s, l.Devices())
			checkSums(t, v)
		})
	}
}

// labs are the scenario, faults drawn from seeds, and several at one device,
// among them two that one part cures.
func labs(t *testing.T) map[string]lab.Options {
	out := map[string]lab.Options{
		"scenario": {NoMDNS: true},
		"several": {NoMDNS: true, Clean: true, Faults: map[string]string{
			"mill-copy": "puncher-full,toner-low:black,toner-empty:black,toner-low:cyan,marker-waste-toner-receptacle-almost-full",
			"post-room": "opc-life-over,input-pick-roller-life-warn:1,media-jam",
			"accounts":  "toner-low:black",
			"corridor":  "toner-low:black,cover-open:1,cover-open:2",
			"training":  "toner-empty:black,derived-queue-stalled",
		}},
	}
	seeds := []int64{1, 2, 3}
	if text := os.Getenv("PRINTROUND_LAB_SEED"); text != "" {
		n, err := strconv.ParseInt(text, 10, 64)
		if err != nil {
			t.Fatalf("PRINTROUND_LAB_SEED: %v", err)
		}
		seeds = append(seeds, n)
	}
	for _, n := range seeds {
		faults, err := lab.RandomFaults(n)
		if err != nil {
			t.Fatal(err)
		}
		out[fmt.Sprintf("seed %d", n)] = lab.Options{Seed: n, Faults: faults, Clean: true, NoMDNS: true}
	}
	return out
}

// found is a finding's place in a plan.
type found struct {
	group string
	task  *Task
}

// find lists where a condition of a device is in the plan, as a task or cured by
// the task of another.
func find(v *Plan, key, code string) []found {
	var out []found
	look := func(group string, tasks []Task) {
		for i := range tasks {
			t := &tasks[i]
			if t.Key != key {
				continue
			}
			if t.Code == code {
				out = append(out, found{group, t})
			}
			for _, o := range t.Also {
				if o.Code == code && t.Code != code {
					out = append(out, found{group, t})
				}
			}
		}
	}
	look("phone", v.ByPhone)
	for _, s := range v.Visit {
		for _, d := range s.Devices {
			look("visit", d.Tasks)
		}
	}
	look("watch", v.Watch)
	return out
}

func checkDevice(t *testing.T, v *Plan, s *device.Survey, file *site.File, d lab.Device) {
	t.Helper()
	if !d.Printer {
		return
	}
	key := keyOf(s, d)
	if key == "" {
		t.Errorf("%s is not in the survey", d.Name)
	}
	for _, code := range d.Conditions {
		want, ok := wanted[code]
		if !ok {
			t.Errorf("%s: the test does not know where %s belongs", d.Name, code)
			continue
		}
		at := find(v, key, code)
		if len(at) != 1 || at[0].group != want.group {
			t.Errorf("%s, %s: found %d times, %v; wanted once, %s", d.Name, code, len(at), at, want.group)
			continue
		}
		checkPart(t, v, file, d, at[0].task, want.part)
	}
}

func checkPart(t *testing.T, v *Plan, file *site.File, d lab.Device, task *Task, class string) {
	t.Helper()
	if class == "" {
		if task.Part != nil && task.Part.Bring {
			t.Errorf("%s, %s: brings %+v, wanted nothing", d.Name, task.Code, task.Part)
		}
		return
	}
	n := task.Part
	if n == nil || !n.Bring || !strings.HasPrefix(n.Part, class) {
		t.Errorf("%s, %s: part %+v, wanted %s to bring", d.Name, task.Code, n, class)
		return
	}
	if c, ok := file.Catalogue.Part(d.Model, string(n.Color), class, n.Part); ok && string(n.Number) != c.Number {
		t.Errorf("%s, %s: number %q, the catalogue has %q", d.Name, task.Code, n.Number, c.Number)
	}
	listed := slices.ContainsFunc(v.Parts, func(p Part) bool {
		return p.Part == n.Part && p.Color == n.Color && p.Number == n.Number && strings.Contains(string(p.Model), d.Model) &&
			slices.ContainsFunc(p.Because, func(why string) bool {
				return strings.HasPrefix(why, task.Device) && strings.Contains(why, task.Summary)
			})
	})
	if !listed {
		t.Errorf("%s, %s: %+v is not on the list for it: %+v", d.Name, task.Code, n, v.Parts)
	}
}

// keyOf finds the device in the survey by its serial number or, where it does
// not answer, by the name that the site gives it.
func keyOf(s *device.Survey, d lab.Device) string {
	for i := range s.Devices {
		x := &s.Devices[i]
		if x.Role == device.RolePrinter && (string(x.Serial) == d.Serial || x.Serial == "" && string(x.Name) == d.Title) {
			return x.Key
		}
	}
	return ""
}

func each(v *Plan, f func(*Task)) {
	for t := range v.Tasks() {
		f(t)
	}
	for i := range v.Watch {
		f(&v.Watch[i])
	}
}

// checkNothingElse: nobody is called and nothing is visited but for a fault of
// the lab; a shared queue is no second place for its printer's.
func checkNothingElse(t *testing.T, v *Plan, s *device.Survey, devices []lab.Device) {
	t.Helper()
	truth := map[string][]string{}
	for _, d := range devices {
		if d.Printer {
			truth[keyOf(s, d)] = d.Conditions
		}
	}
	for task := range v.Tasks() {
		if !slices.Contains(truth[task.Key], task.Code) {
			t.Errorf("%s: %s (%s) is in the plan and no fault of the lab", task.Device, task.Code, task.Summary)
		}
	}
	each(v, func(task *Task) {
		if len(task.Steps) > 0 && string(task.Step) != task.Steps[0] {
			t.Errorf("%s, %s: the first step is %q, not %q", task.Device, task.Code, task.Steps[0], task.Step)
		}
	})
}

func checkSums(t *testing.T, v *Plan) {
	t.Helper()
	brought, listed, minutes := 0, 0, 0
	each(v, func(task *Task) {
		if task.Part != nil && task.Part.Bring {
			brought++
		}
	})
	for _, p := range v.Parts {
		listed += p.Quantity
		if p.Quantity != len(p.Because) {
			t.Errorf("%d of %s for %v", p.Quantity, p.Part, p.Because)
		}
	}
	for _, s := range v.Visit {
		minutes += s.Minutes
	}
	if brought != listed || minutes != v.Minutes {
		t.Errorf("%d parts in tasks, %d on the list; %d minutes at stops, %d in all", brought, listed, minutes, v.Minutes)
	}
}

// surveyOf surveys the lab by its own site file and judges it.
func surveyOf(t *testing.T, l *lab.Lab) (*device.Survey, *site.File) {
	t.Helper()
	file, parts, err := labtest.Survey(t.Context(), l, t.TempDir(), discover.Config{
		Timeout: 500 * time.Millisecond, Listen: 1500 * time.Millisecond, NoMDNS: true,
	})
	if err != nil {
		t.Fatal(err)
	}
	whole := &device.Survey{Schema: device.SurveySchema}
	for _, s := range parts {
		whole.Devices = append(whole.Devices, s.Devices...)
		whole.Started, whole.Finished = s.Started, s.Finished
	}
	finding.JudgeAll(whole.Devices, finding.Defaults())
	finding.Rank(whole.Devices)
	return whole, file
}
