package report

import (
	"bufio"
	"cmp"
	"crypto/sha256"
	_ "embed"
	"encoding/base64"
	"fmt"
	"html/template"
	"io"
	"slices"
	"strconv"
	"strings"
	"time"

	"printround/internal/device"
	"printround/internal/forecast"
	"printround/internal/visit"
)

// Beside is what an HTML page shows beside a survey. All of it may be missing.
type Beside struct {
	// Visit says how the page plans: horizon, parts, contacts and, where there is
	// a history, the forecasts. Its zero fields are the defaults of a visit; a
	// zero Now is the moment of the survey.
	Visit visit.Options
	// Nights returns what was kept of a device, in order of time; nil: no history.
	Nights func(key string) []device.Night
}

//go:embed html/page.tmpl
var htmlTemplate string

//go:embed html/page.css
var htmlRules string

// htmlStyle has a class for each length of a bar: the policy forbids styles of
// single elements.
var htmlStyle = func() string {
	var b strings.Builder
	b.WriteString(htmlRules)
	for p := range 101 {
		fmt.Fprintf(&b, ".w%d::before{width:%d%%}", p, p)
	}
	return b.String()
}()

//go:embed html/page.js
var htmlScript string

var htmlPageTemplate = template.Must(template.New("").Parse(htmlTemplate))

// htmlPolicy lets the page use its own style and its own script and nothing
// else: no network, no other script, no form (Content Security Policy Level 3;
// hashes as in section 2.3.1 there).
var htmlPolicy = fmt.Sprintf("default-src 'none'; style-src '%s'; script-src '%s'; base-uri 'none'; form-action 'none'",
	policyHash(htmlStyle), policyHash(htmlScript))

func policyHash(s string) string {
	sum := sha256.Sum256([]byte(s))
	return "sha256-" + base64.StdEncoding.EncodeToString(sum[:])
}

// htmlView is a page on its way into the template. Its texts are what is shown;
// the template escapes them.
type htmlView struct {
	Policy          string
	Style, Script   template.HTML // ours, word for word as hashed in Policy
	Title, Heading  string
	When, Foot      string
	Partial         string
	Levels          []levelCount
	Contents        []named
	Verdict         string // of the one device
	Panel           []string
	RoundHeading    string
	Day             string
	News            string // what changed, in one line
	Round           []roundSite
	Parts           []bringLine
	Changes         *changeView
	LevelNames      []string
	Sites           []siteLine
	ManySites       bool // they have a part of the page of their own
	PagesNote       string
	PrintersHeading string
	Devices         []deviceView
	Watch, Looks    []string
	Scope           *scopeView
	Cautions        []cautionLine
	MakerFirst      string
}

type levelCount struct {
	Level string
	Count int
}

// named is a name, and the part of the page that it leads to, if any.
type named struct{ ID, Name, What string }

// htmlMaker makes the view.
type htmlMaker struct {
	style
	survey    *device.Survey
	ranked    []*device.Device
	plan      *planned
	now       time.Time
	horizon   time.Duration
	forecasts map[string]*forecast.Device
	nights    func(string) []device.Night
	id        map[string]string // of the device's part of the page, by key
	tails     map[string]string // what tells devices of one name and place apart, by key
	tasks     map[string]bool   // keys of devices with something to do
	fresh     map[[2]string]bool
	explain   bool
	single    bool
}

// writeHTML writes a survey as one page that needs nothing else.
func writeHTML(w io.Writer, s *device.Survey, o Options) error {
	return newHTMLMaker(s, o).write(w)
}

// writeDeviceHTML writes one device as a page.
func writeDeviceHTML(w io.Writer, d *device.Device, o Options) error {
	m := newHTMLMaker(&device.Survey{Finished: d.ObservedAt, Site: d.Site, Devices: []device.Device{*d}}, o)
	m.single = true
	if len(m.ranked) == 0 { // a queue that a server shares
		m.ranked, m.id[d.Key] = []*device.Device{d}, "d1"
	}
	return m.write(w)
}

func (m *htmlMaker) write(w io.Writer) error {
	b := bufio.NewWriterSize(w, 1<<16)
	if err := htmlPageTemplate.ExecuteTemplate(b, "page", m.view()); err != nil {
		return err
	}
	return b.Flush()
}

// defaultHorizon is the days until the next visit when nothing says so.
const defaultHorizon = 14

func newHTMLMaker(s *device.Survey, o Options) *htmlMaker {
	var out Beside
	if o.Beside != nil {
		out = *o.Beside
	}
	v := out.Visit
	if v.HorizonDays <= 0 {
		v.HorizonDays = defaultHorizon
	}
	if v.BringProbability <= 0 {
		v.BringProbability = visit.DefaultBring
	}
	if v.Now.IsZero() {
		v.Now = latest(s)
	}
	if v.Foresee == nil {
		v.Foresee = func(*device.Device, int) (string, device.Advice, bool) { return "", device.Advice{}, false }
	}
	m := &htmlMaker{
		style: newStyle(o), survey: s, now: v.Now, horizon: time.Duration(v.HorizonDays) * 24 * time.Hour, nights: out.Nights, explain: o.Explain,
		forecasts: map[string]*forecast.Device{}, id: map[string]string{}, tails: map[string]string{}, tasks: map[string]bool{}, fresh: map[[2]string]bool{},
	}
	m.plain = false // a page has no terminal to please
	for i := range v.Forecasts {
		m.forecasts[v.Forecasts[i].Key] = &v.Forecasts[i]
	}
	m.ranked, _ = split(s.Devices)
	m.sites = severalSites(m.ranked)
	for i, d := range m.ranked {
		if m.id[d.Key] == "" {
			m.id[d.Key] = "d" + strconv.Itoa(i+1)
		}
	}
	m.tellApart()
	if c := s.Changes; c != nil {
		for _, x := range slices.Concat(c.New, c.Silent) {
			m.fresh[[2]string{x.Key, x.Code}] = true
		}
	}
	m.plan = newPlanned(visit.Make(s, v), m.style)
	return m
}

// tellApart finds what devices differ by that have the same name and place.
func (m *htmlMaker) tellApart() {
	where := make([]string, len(m.ranked))
	for i, d := range m.ranked {
		where[i] = m.text(d.Place(m.sites))
	}
	for i, name := range names(m.style, m.ranked, where, device.MaxText) {
		if _, tail, ok := strings.Cut(name, "\n"); ok {
			m.tails[m.ranked[i].Key] = tail
		}
	}
}

// place adds to the place of a device what tells it apart, if that is needed.
func (m *htmlMaker) place(key, where string) string {
	tail := m.tails[key]
	switch {
	case tail == "" || strings.Contains(where, tail):
		return m.text(where)
	case where == "":
		return tail
	}
	return m.text(where) + ", " + tail
}

func (m *htmlMaker) view() *htmlView {
	s := m.survey
	v := &htmlView{
		Policy: htmlPolicy, Style: template.HTML("<style>" + htmlStyle + "</style>"), Script: template.HTML("<script>" + htmlScript + "</script>"),
		Heading: m.text(titleLine(s)), When: m.time(latest(s)), MakerFirst: makerFirst,
		Foot: m.foot(), RoundHeading: "Where to go, why, with what", News: m.news(), Day: m.text(m.plan.sumLine()),
		Round: m.round(), Parts: m.parts(), Changes: m.changes(), Watch: m.watched(), Looks: m.looks(), Cautions: m.cautionLines(),
	}
	v.PrintersHeading = device.Counted(len(m.ranked), "printer", "printers") + ", the most urgent first"
	for _, a := range attentionLevels {
		v.LevelNames = append(v.LevelNames, string(a))
	}
	if m.single {
		m.singleView(v)
	} else {
		m.surveyView(v)
	}
	for i, d := range m.ranked {
		v.Devices = append(v.Devices, m.device(i, d))
	}
	v.Title = v.Heading + ", " + v.When
	if v.Partial != "" {
		v.Title = "PARTIAL: " + v.Title
	}
	v.Contents = contents(v)
	return v
}

// surveyView adds what only a page of many devices has.
func (m *htmlMaker) surveyView(v *htmlView) {
	s := m.survey
	if s.Partial {
		v.Partial = m.text(strings.TrimPrefix(partialLine(s), "Not complete: "))
	}
	for _, a := range attentionLevels {
		n := 0
		for _, d := range m.ranked {
			if d.Attention == a {
				n++
			}
		}
		v.Levels = append(v.Levels, levelCount{string(a), n})
	}
	v.Sites, v.PagesNote = m.siteLines(v.Round)
	v.ManySites = len(v.Sites) > fewSites
	v.Scope = m.scope()
	if len(m.ranked) == 0 {
		v.PrintersHeading = "No printer found"
	}
}

// singleView adds what only the page of one device has.
func (m *htmlMaker) singleView(v *htmlView) {
	d := &m.survey.Devices[0]
	v.Heading, v.Verdict = m.text(d.Label()), m.text(verdictLine(d))
	v.When = "Looked at " + m.time(d.ObservedAt)
	v.RoundHeading, v.PrintersHeading = "What to do", "What it says of itself"
}

// fewSites is how many sites stand above the things to do.
const fewSites = 8

func contents(v *htmlView) []named {
	var out []named
	add := func(there bool, id, name string) {
		if there {
			out = append(out, named{ID: id, Name: name})
		}
	}
	one := v.Verdict != ""
	add(!one, "round", "Where to go")
	add(one, "round", v.RoundHeading)
	add(len(v.Parts) > 0, "bring", "Bring")
	add(v.Changes != nil, "changes", "Changes")
	add(v.ManySites, "sites", "Sites")
	add(!one, "printers", "Printers")
	add(one, "printers", v.PrintersHeading)
	add(len(v.Watch)+len(v.Looks) > 0, "watch", "Keep an eye on")
	add(v.Scope != nil, "unseen", "Not seen")
	add(len(v.Cautions) > 0, "cautions", "Cautions")
	return out
}

// foot says what the page rests on.
func (m *htmlMaker) foot() string {
	line := m.plan.aboutLine()
	if v := m.survey.ToolVersion; v != "" {
		line += " Made by printround " + m.text(v) + "."
	}
	return m.text(line) + " This page loads nothing and sends nothing."
}

// link names a device and leads to its part of the page.
func (m *htmlMaker) link(key, name, what string) named {
	return named{m.id[key], cmp.Or(m.text(name), "printer without a name"), m.text(what)}
}

// texts makes foreign texts fit to be shown.
func (m *htmlMaker) texts(list []string) []string {
	out := make([]string, len(list))
	for i, v := range list {
		out[i] = m.text(v)
	}
	return out
}
