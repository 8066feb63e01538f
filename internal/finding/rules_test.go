package finding

import (
	"slices"
	"strings"
	"testing"

	"printround/internal/device"
)

func job(id int, state string, age int64, pages int64) device.Job {
	return device.Job{ID: id, State: device.Text(state), AgeS: &age, Pages: &pages}
}

func jobs(list ...device.Job) option { return func(d *device.Device) { d.Queue.Jobs = list } }

func TestQueue(t *testing.T) {
	refuses := func(d *device.Device) { no := false; d.Queue.Accepting = &no }
	run(t, []judgement{
		{"a job that stopped in the middle", answering(jobs(job(7, "processing-stopped", 60, 3), job(8, "pending", 30, 0))), device.Impaired,
			[]want{{code: "derived-queue-stalled", impact: isImpaired, summary: "job 7 is stuck, 1 job waits behind it"}}},
		{"old pending jobs at an idle printer", answering(jobs(job(9, "pending", 900, 0))), device.Impaired, []want{{code: "derived-queue-stalled", impact: isImpaired, summary: "job 9 is stuck"}}},
		{"young ones", answering(jobs(job(9, "pending", 899, 0))), device.Clear, nil},
		{"old ones at a printer that prints", answering(state("running", "printing", "processing"), jobs(job(5, "processing", 1700, 40), job(9, "pending", 2000, 0))), device.Clear, nil},
		{"hours without a page", answering(state("running", "printing", "processing"), jobs(job(5, "processing", 7500, 0), job(9, "pending", 2000, 0))), device.Impaired,
			[]want{{code: "derived-queue-stalled", impact: isImpaired, summary: "job 5"}}},
		{"held jobs wait by choice", answering(jobs(job(4, "pending-held", 90000, 0))), device.Clear, nil},
		{"refuses jobs", answering(refuses), device.Impaired, []want{{code: "derived-not-accepting-jobs", impact: isImpaired}}},
	})
}

func defaultMedia(name string, ready ...string) option {
	return func(d *device.Device) {
		d.Defaults.Media, d.Defaults.Ready, d.Defaults.Source = device.Text(name), ready, device.SourceIPP
	}
}

func roll(name string) option {
	return tray(device.Tray{Kind: "continuousRoll", Level: device.NoLevel(device.LevelSomeLeft), Media: device.Media{Name: device.Text(name)}})
}

func TestMediaMismatch(t *testing.T) {
	unknown := tray(device.Tray{Level: device.NoLevel(device.LevelSomeLeft)})
	run(t, []judgement{
		{"default in a tray", answering(defaultMedia(a4), paper(300, a4), paper(300, letter)), device.Clear, nil},
		{"default in no tray", answering(defaultMedia(a4), paper(300, letter)), device.Impaired, []want{{code: "derived-media-mismatch", impact: isImpaired, summary: "default size A4 is in no tray", proofs: 2}}},
		{"the same size by its older name", answering(defaultMedia("iso-a4"), paper(300, a4)), device.Clear, nil},
		{"an empty tray of the size is no mismatch", answering(defaultMedia(a4), paper(0, a4), paper(300, letter)), device.Impaired, []want{{code: "media-empty", impact: isImpaired}}},
		{"media-ready alone", answering(defaultMedia(a4, letter)), device.Impaired, []want{{code: "derived-media-mismatch", impact: isImpaired}}},
		{"media-ready has it", answering(defaultMedia(a4, letter, a4)), device.Clear, nil},
		{"a tray of unknown size may hold it", answering(defaultMedia(a4), paper(300, letter), unknown), device.Clear, nil},
		{"sizes that cannot be compared", answering(defaultMedia("Plain"), paper(300, letter)), device.Clear, nil},
	})
	o := Defaults()
	o.ExpectedMedia = []string{a4}
	for _, c := range []struct {
		name   string
		d      *device.Device
		impact device.Impact
		text   string
	}{
		{"default not the site's", answering(defaultMedia(letter), paper(300, letter), paper(300, a4)), isImpaired, "default size is Letter"},
		{"no tray holds what the site uses", answering(paper(300, letter)), isImpaired, "no tray holds a size that the site uses"},
		{"one odd tray is a note", answering(defaultMedia(a4), paper(300, a4), paper(300, letter)), isNote, "tray 2 Letter is not what the site uses"},
		{"envelopes and larger sheets in trays of their own are meant", answering(defaultMedia(a4), paper(300, a4), paper(300, "iso_dl_110x220mm"), paper(300, "iso_a3_297x420mm")), "", ""},
		{"default in no tray is one finding", answering(defaultMedia(a4), paper(300, letter)), isImpaired, "default size A4 is in no tray"},
		{"rolls are no office paper", answering(defaultMedia("roll_custom_914x0mm"), roll("na_letter_8.5x11in")), "", ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			Judge(c.d, o)
			var got []device.Finding
			for _, f := range c.d.Findings {
				if f.Code == MediaMismatch && !(c.impact == isImpaired && f.Impact == isNote) {
					got = append(got, f)
				}
			}
			switch {
			case c.impact == "" && len(got) == 0:
			case len(got) != 1 || got[0].Impact != c.impact || !strings.Contains(got[0].Summary, c.text):
				t.Errorf("got %+v, want %s %q", got, c.impact, c.text)
			}
		})
	}
}

func TestOrientationAndLanguages(t *testing.T) {
	orientation := func(o string) option {
		return func(d *device.Device) { d.Defaults.Orientation, d.Defaults.Source = device.Text(o), device.SourceIPP }
	}
	run(t, []judgement{
		{"as expected", answering(orientation("portrait")), device.Clear, nil},
		{"none is no default", answering(orientation("none")), device.Clear, nil},
		{"turned", answering(orientation("landscape")), device.Due, []want{{code: "derived-default-orientation", impact: isDue, summary: "landscape"}}},
		{"on a roll it means something else", answering(orientation("landscape"), roll("custom_roll_914x2000mm")), device.Clear, nil},
	})
	speaks := func(families ...string) *device.Device {
		d := answering()
		for _, f := range families {
			d.Languages = append(d.Languages, device.Language{Family: device.Text(f)})
		}
		return d
	}
	o := Defaults()
	o.ExpectedLanguages = []string{"langPS", "PDF"}
	for _, c := range []struct {
		have    []string
		missing string
	}{
		{[]string{"langPS3", "langPDF17"}, ""},
		{[]string{"application/postscript", "application/pdf"}, ""},
		{[]string{"langPDF", "langPCL"}, "PS"},
		{[]string{"langPCL"}, "PDF, and 1 more"},
	} {
		d := speaks(c.have...)
		Judge(d, o)
		got := ""
		if d.Attention != device.Clear {
			got = strings.TrimPrefix(d.Why(), "does not interpret ")
		}
		if got != c.missing {
			t.Errorf("%v: missing %q, want %q", c.have, got, c.missing)
		}
	}
}

func TestJudgeAllComparesEqualModels(t *testing.T) {
	of := func(model string, families ...string) device.Device {
		d := answering()
		d.MakeModel = device.Text(model)
		for _, f := range families {
			d.Languages = append(d.Languages, device.Language{Family: device.Text(f)})
		}
		return *d
	}
	ipp := of("Lab L4", "application/pdf", "image/urf")
	ipp.Reached.SNMP.OK = false
	ds := []device.Device{
		of("Lab L4", "langPCL5e", "langPS3", "langPDF"), of("Lab L4", "langPCL5e", "langPS", "langPDF"), of("Lab L4", "langPCL5e", "langPDF"),
		of("Lab M5", "langPS"), of("Lab M5", "langPCL"), ipp,
	}
	JudgeAll(ds, Defaults())
	for i, want := range []string{"", "", "does not interpret PS", "", "", ""} {
		if got := ds[i].Why(); got != want {
			t.Errorf("device %d: %q, want %q", i, got, want)
		}
	}
	if f := ds[2].Findings[0]; f.Code != LanguageMissing || !strings.Contains(f.Why, "every other device of this model") {
		t.Errorf("%s: %s", f.Code, f.Why)
	}
}

func TestNotesAboutTheReading(t *testing.T) {
	ippOnly := func(d *device.Device) {
		d.Reached.SNMP = device.SNMPReach{Tried: true}
		d.State.Device, d.State.Printer = "", ""
	}
	delivered := func(d *device.Device) { d.Reached.SNMP.Credential = "default" }
	partial := func(d *device.Device) { d.Reached.SNMP.Partial = true }
	disagree := func(d *device.Device) {
		d.Disagreements = []device.Disagreement{{Fact: "supply[1].level", SNMP: "40%", IPP: "80%", Kept: device.SourceSNMP}, {Fact: "state", SNMP: "down", IPP: "idle", Kept: device.SourceSNMP}}
	}
	run(t, []judgement{
		{"SNMP silent, IPP answered", answering(ippOnly), device.Clear, []want{{code: "derived-snmp-silent", impact: isNote, summary: "SNMP was silent"}}},
		{"the community of delivery", answering(delivered), device.Clear, []want{{code: "derived-default-community", impact: isNote}}},
		{"half a table", answering(partial), device.Clear, []want{{code: "derived-read-incomplete", impact: isNote}}},
		{"protocols that disagree", answering(disagree), device.Clear, []want{{code: "derived-sources-disagree", impact: isNote, proofs: 2, summary: "and 1 more"}}},
	})
}

func TestSilent(t *testing.T) {
	silent := &device.Device{Key: "addr:127.0.0.9", State: device.State{Reasons: []string{"media-jam-error"}}}
	checkJudged(t, silent, device.Silent, want{code: "derived-no-answer", impact: device.ImpactSilent, summary: "no answer"})
	if len(silent.NotJudged) != len(needs) {
		t.Errorf("not judged %d conditions, want all %d: %v", len(silent.NotJudged), len(needs), silent.NotJudged)
	}
	if silent.NextStep() == "" {
		t.Error("no next step")
	}
}

// Of two sources the worse counts, never the rosier alone.
func TestUnionOfProblems(t *testing.T) {
	run(t, []judgement{
		{"IPP says none, SNMP says down", answering(state("down", "other", "idle"), reasons("none")), device.Stopped, []want{{code: "derived-stopped-unexplained", impact: isStopped, proofs: 3}}},
		{"SNMP says running, IPP says stopped", answering(state("running", "idle", "stopped"), reasons("media-jam-error")), device.Stopped, []want{{code: "media-jam", impact: isStopped}}},
		{"IPP says none, an SNMP alert is critical", answering(state("running", "idle", "idle"), reasons("none"), alert(device.Alert{Code: "doorOpen", Severity: "critical", Group: "generalPrinter", GroupIndex: 1})), device.Stopped,
			[]want{{code: "door-open", impact: isStopped}}},
		{"warning, and no detail", answering(state("warning", "idle", "idle")), device.Due, []want{{code: "derived-warning-unexplained", impact: isDue}}},
		{"warning, and a note accounts for it", answering(state("warning", "idle", "idle"), paper(20, a4)), device.Clear, []want{{code: "media-low", impact: isNote}}},
		{"off-line", answering(state("down", "other", "stopped"), bits("offline"), reasons("paused"), alert(device.Alert{Code: "subunitOffline", Severity: "critical", Group: "generalPrinter", GroupIndex: 1})), device.Stopped,
			[]want{{code: "subunit-offline", impact: isStopped, proofs: 3, summary: "printer off-line"}}},
		{"paused", answering(state("", "", "stopped"), reasons("paused")), device.Stopped, []want{{code: "paused", impact: isStopped}}},
		{"service is requested, and why", answering(state("down", "other", "stopped"), bits("serviceRequested"), reasons("fuser-over-temp-error")), device.Stopped,
			[]want{{code: "fuser-over-temp", impact: isStopped, proofs: 2}}},
		{"service is requested, alone", answering(state("down", "other", ""), bits("serviceRequested")), device.Stopped, []want{{code: "derived-service-requested", impact: isStopped}}},
		{"maintenance is overdue", answering(state("warning", "idle", ""), bits("overduePreventMaint"), part("fuser", "Fuser", 3)), device.Due, []want{{code: "derived-service-due", impact: isDue, proofs: 2}}},
		{"a door by its bit, a cover by its status", answering(state("down", "other", "stopped"), bits("doorOpen"), cover("coverOpen"), reasons("cover-open")), device.Stopped,
			[]want{{code: "cover-open", impact: isStopped, proofs: 3, summary: "Cover A open"}}},
	})
}

func TestNotJudged(t *testing.T) {
	d := answering(supply(device.Supply{Kind: "toner", Name: "Black", Level: device.NoLevel(device.LevelSomeLeft)}))
	Judge(d, Defaults())
	for _, want := range []string{"toner-low: level of Black is some-left", "media-empty: the device reports no trays", "derived-run-out: there is no history of this device"} {
		if !slices.Contains(d.NotJudged, want) {
			t.Errorf("%q is missing in %q", want, d.NotJudged)
		}
	}
	if !slices.IsSorted(d.NotJudged) {
		t.Errorf("not sorted: %q", d.NotJudged)
	}
	empty := &device.Device{}
	Judge(empty, Defaults())
	if len(empty.Findings) != 1 || len(empty.NotJudged) != len(needs) {
		t.Errorf("a device without facts: %+v, %q", empty.Findings, empty.NotJudged)
	}
	for _, n := range empty.NotJudged {
		if code, _, ok := strings.Cut(n, ":"); !ok || known().terms[code] == nil {
			t.Errorf("%q does not begin with a condition", n)
		}
	}
}

func TestStorage(t *testing.T) {
	disk := func(kind string, size, used, fails int64) option {
		return func(d *device.Device) {
			d.Storage = append(d.Storage, device.Storage{Name: "Store", Kind: device.Text(kind), Size: &size, Used: &used, Fails: &fails})
		}
	}
	run(t, []judgement{
		{"memory in use is normal", answering(disk("hrStorageRam", 100, 100, 0)), device.Clear, nil},
		{"memory refused", answering(disk("hrStorageRam", 100, 100, 4)), device.Clear, []want{{code: "subunit-memory-exhausted", impact: isNote}}},
		{"disk nearly full", answering(disk("hrStorageFixedDisk", 1000, 960, 0)), device.Due, []want{{code: "storage-almost-full", impact: isDue}}},
		{"disk full", answering(disk("hrStorageFixedDisk", 1000, 999, 0)), device.Impaired, []want{{code: "storage-full", impact: isImpaired}}},
		{"no sizes", answering(disk("hrStorageFixedDisk", 0, 0, 0)), device.Clear, nil},
	})
}
