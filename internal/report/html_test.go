package report

import (
	"bytes"
	"crypto/sha256"
	"encoding/base64"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"testing"
	"time"

	"golang.org/x/net/html"

	"printround/internal/device"
	"printround/internal/forecast"
)

// nightsOf are nights on which the supplies of a device fell by half a percent a
// day to where they are now; on some nights nothing was read.
func nightsOf(d *device.Device, n int) []device.Night {
	var out []device.Night
	for back := n; back > 0; back-- {
		if back%11 == 0 {
			continue
		}
		v := device.Night{At: seen.AddDate(0, 0, -back)}
		for _, s := range d.Supplies {
			r := device.SupplyReading{Index: s.Index, Kind: string(s.Kind)}
			if p, ok := s.Level.Percent(); ok {
				p = min(p+float64(back)/2, 100)
				r.Percent = &p
			}
			v.Supplies = append(v.Supplies, r)
		}
		out = append(out, v)
	}
	return out
}

// endingIn is a distribution that ends evenly between two days from now; days
// beyond the foreseeable are not known.
func endingIn(from, to float64) *forecast.Distribution {
	d := &forecast.Distribution{}
	for i := range 100 {
		day := from + (to-from)*float64(i)/99
		at := time.Time{}
		if day <= forecast.Horizon {
			at = seen.Add(time.Duration(day * 24 * float64(time.Hour)))
		}
		d.At = append(d.At, at)
	}
	return d
}

func forecastOf(d *device.Device) forecast.Device {
	f := forecast.Device{Key: d.Key, PagesPerDay: ptr(212.4), LoadShare: ptr(0.62), NightsKnown: 60, Unit: "impressions"}
	for i, s := range d.Supplies {
		it := forecast.Item{Kind: forecast.Supply, Index: s.Index, Name: string(s.Name), Type: string(s.Kind), Colorant: string(s.Colorant)}
		switch {
		case !s.Level.Known():
			it.Reason = "the device says only that some is left"
		case i == 1:
			it.RunOut = endingIn(30, 900)
		case i == 2:
			it.RunOut = endingIn(800, 900)
		default:
			it.RunOut = endingIn(float64(4+9*i), float64(30+20*i))
		}
		f.Items = append(f.Items, it)
	}
	f.Items = append(f.Items, forecast.Item{Kind: forecast.Service, Name: "feed roller kit", Type: "feed roller kit", Percent: ptr(22.5), RunOut: endingIn(40, 80)})
	return f
}

func besideOf(s *device.Survey) *Beside {
	o := visitOptions()
	o.Now = seen
	nights := map[string][]device.Night{}
	for i := range s.Devices {
		d := &s.Devices[i]
		if answered(d) {
			o.Forecasts = append(o.Forecasts, forecastOf(d))
			nights[d.Key] = nightsOf(d, 60)
		}
	}
	return &Beside{Visit: o, Nights: func(key string) []device.Night { return nights[key] }}
}

func TestHTMLGolden(t *testing.T) {
	partial := sampleSurvey()
	partial.Partial, partial.PartialReason = true, "interrupted by the user after 40 s"
	partial.Devices[1].Site = "South branch"
	cet := seen.In(time.FixedZone("CET", 3600))
	for name, c := range map[string]struct {
		survey *device.Survey
		opts   Options
	}{
		"survey.html":         {sampleSurvey(), Options{Format: HTML, Now: cet, Beside: besideOf(sampleSurvey())}},
		"survey-partial.html": {partial, Options{Format: HTML, Explain: true}},
		"survey-empty.html":   {&device.Survey{Finished: seen}, Options{Format: HTML}},
	} {
		t.Run(name, func(t *testing.T) {
			got := render(t, c.survey, c.opts)
			golden(t, name, inner(t, got))
			if again := render(t, c.survey, c.opts); !bytes.Equal(got, again) {
				t.Error("two pages of one survey differ")
			}
		})
	}
	d := fullDevice()
	golden(t, "check.html", inner(t, renderDevice(t, &d, Options{Format: HTML})))
}

// inner leaves out the style and the script, which stand in files of their own.
func inner(t *testing.T, page []byte) []byte {
	t.Helper()
	escaped := strings.NewReplacer("+", "&#43;")
	for _, v := range []string{htmlStyle, htmlScript, escaped.Replace(policyHash(htmlStyle)), escaped.Replace(policyHash(htmlScript))} {
		if bytes.Count(page, []byte(v)) != 1 {
			t.Fatalf("%.30q is not on the page once", v)
		}
		page = bytes.Replace(page, []byte(v), []byte("…"), 1)
	}
	return page
}

// parsed reads a page as a browser does (WHATWG HTML, section 13.2).
func parsed(t testing.TB, page []byte) *html.Node {
	t.Helper()
	n, err := html.Parse(bytes.NewReader(page))
	if err != nil {
		t.Fatal(err)
	}
	return n
}

func attribute(n *html.Node, name string) (string, bool) {
	for _, a := range n.Attr {
		if a.Key == name {
			return a.Val, true
		}
	}
	return "", false
}

// allowed are the elements and attributes that the template has.
var (
	allowedElements = strings.Fields(`html head meta title style body script a header div p strong h1 h2 h3 dl dt dd nav ul ol li main section
		table caption thead tbody tr th td b i span details summary input code form label fieldset legend select option button output footer svg path`)
	allowedAttributes = strings.Fields(`lang charset http-equiv content name class href id aria-labelledby aria-label aria-hidden role scope colspan
		rowspan start type autocomplete spellcheck value checked hidden tabindex d open data-of`)
)

// checkPage looks at a page through a second parser: nothing but what the
// template has, no address but places on the page, every place there once.
func checkPage(t testing.TB, page []byte) {
	t.Helper()
	noControls(t, strings.ReplaceAll(string(page), "\n", " "))
	ids := map[string]int{}
	var links []string
	scripts := 0
	for n := range parsed(t, page).Descendants() {
		if n.Type == html.CommentNode {
			t.Fatalf("a comment: %q", n.Data)
		}
		if n.Type != html.ElementNode {
			continue
		}
		if !slices.Contains(allowedElements, n.Data) {
			t.Fatalf("element %s", n.Data)
		}
		for _, a := range n.Attr {
			if !slices.Contains(allowedAttributes, a.Key) {
				t.Fatalf("attribute %s of %s", a.Key, n.Data)
			}
		}
		if n.Data == "script" || n.Data == "style" {
			scripts++
			if n.FirstChild.Data != map[string]string{"script": htmlScript, "style": htmlStyle}[n.Data] {
				t.Fatalf("a %s of its own", n.Data)
			}
		}
		if id, ok := attribute(n, "id"); ok {
			ids[id]++
		}
		if to, ok := attribute(n, "href"); ok {
			if !strings.HasPrefix(to, "#") {
				t.Fatalf("a link to %q", to)
			}
			links = append(links, to[1:])
		}
		if by, ok := attribute(n, "aria-labelledby"); ok {
			links = append(links, by)
		}
	}
	if scripts != 2 {
		t.Fatalf("%d styles and scripts", scripts)
	}
	for id, n := range ids {
		if n > 1 {
			t.Errorf("%d elements have the id %q", n, id)
		}
	}
	for _, to := range links {
		if ids[to] == 0 {
			t.Errorf("a link leads to %q, which is not there", to)
		}
	}
}

// hostileBeside brings harm in the forecasts, the parts and the contacts too.
func hostileBeside(s *device.Survey) *Beside {
	o := besideOf(s)
	o.Visit.Contacts = map[string]string{}
	for i := range s.Devices {
		d := &s.Devices[i]
		v := string(d.Name)
		o.Visit.Contacts[string(d.Site)] = v
		o.Visit.Catalogue.Parts = append(o.Visit.Catalogue.Parts, device.CataloguePart{Model: v, Supply: v, Number: v, Name: v})
	}
	for i := range o.Visit.Forecasts {
		f := &o.Visit.Forecasts[i]
		f.NotYet = f.Key
		for k := range f.Items {
			f.Items[k].Name, f.Items[k].Type = f.Key, f.Key
			if f.Items[k].RunOut == nil {
				f.Items[k].Reason = f.Key
			}
		}
	}
	return o
}

func TestHTMLIsSafe(t *testing.T) {
	for _, s := range []*device.Survey{sampleSurvey(), hostileSurvey(), {}} {
		for _, o := range []Options{{Format: HTML}, {Format: HTML, Explain: true, Beside: hostileBeside(s)}} {
			checkPage(t, render(t, s, o))
			for i := range s.Devices {
				checkPage(t, renderDevice(t, &s.Devices[i], o))
			}
		}
	}
}

// TestHTMLReportsErrors: whichever write fails, it is said.
func TestHTMLReportsErrors(t *testing.T) {
	s := fleetOf(40)
	total := len(render(t, s, Options{Format: HTML}))
	for _, room := range []int{0, 1, total / 2, total - 1} {
		if err := Write(&little{room}, s, Options{Format: HTML}); !errors.Is(err, io.ErrShortBuffer) {
			t.Errorf("with room for %d of %d: %v", room, total, err)
		}
	}
}

// TestHTMLPolicy computes the hashes anew from what a parser finds between the
// tags, as a browser does (Content Security Policy Level 3, section 6.7.3.3).
func TestHTMLPolicy(t *testing.T) {
	want := map[string]string{"default-src": "'none'", "base-uri": "'none'", "form-action": "'none'"}
	got := map[string]string{}
	for n := range parsed(t, render(t, sampleSurvey(), Options{Format: HTML})).Descendants() {
		switch n.Data {
		case "meta":
			if v, _ := attribute(n, "http-equiv"); v == "Content-Security-Policy" {
				policy, _ := attribute(n, "content")
				for _, d := range strings.Split(policy, ";") {
					name, value, _ := strings.Cut(strings.TrimSpace(d), " ")
					got[name] = value
				}
				if len(want) != 3 {
					t.Error("the policy comes after what it rules")
				}
			}
		case "style", "script":
			sum := sha256.Sum256([]byte(n.FirstChild.Data))
			want[n.Data+"-src"] = "'sha256-" + base64.StdEncoding.EncodeToString(sum[:]) + "'"
		}
	}
	if fmt.Sprint(got) != fmt.Sprint(want) {
		t.Errorf("policy %v, want %v", got, want)
	}
}

// pageWords returns the text of a page without its style and script.
func pageWords(t testing.TB, page []byte) string {
	t.Helper()
	var b strings.Builder
	for n := range parsed(t, page).Descendants() {
		if n.Type == html.TextNode && n.Parent.Data != "script" && n.Parent.Data != "style" {
			b.WriteString(n.Data + " ")
		}
	}
	return strings.Join(strings.Fields(b.String()), " ")
}

// TestHTMLUnknownStaysUnknown: no level of a device that tells none is drawn or
// written as a number.
func TestHTMLUnknownStaysUnknown(t *testing.T) {
	for _, r := range []device.LevelReason{device.LevelUnknown, device.LevelSomeLeft, device.LevelUnlimited, device.LevelNotReported, device.LevelContradictory} {
		d := plainDevice(1, "Prn", "Hall", "", "10.20.1.41")
		d.Findings = nil
		d.Supplies = []device.Supply{{Index: 1, Name: "Toner", Kind: "toner", Role: device.Consumed, Level: device.NoLevel(r)}}
		page := render(t, &device.Survey{Finished: seen, Devices: []device.Device{d}}, Options{Format: HTML})
		body := page[bytes.Index(page, []byte("<body")):bytes.Index(page, []byte("<script"))]
		if bytes.Contains(body, []byte(`class="b `)) || strings.Contains(pageWords(t, page), "%") {
			t.Errorf("%s is drawn as a level", r)
		}
		if n := bytes.Count(body, []byte("class=b>")); n != 2 {
			t.Errorf("%s: %d empty bars, want that of the line and that of the table", r, n)
		}
	}
}

// TestHTMLSaysWhatMatters: what the page is for is on it.
func TestHTMLSaysWhatMatters(t *testing.T) {
	s := sampleSurvey()
	s.Partial, s.PartialReason = true, "interrupted by the user"
	got := pageWords(t, render(t, s, Options{Format: HTML, Beside: besideOf(s)}))
	last := 0
	for _, want := range []string{
		"Partial survey. interrupted by the user", "North branch", "stopped 1", "silent 1",
		"Paper jam in the fuser path", "Open the rear cover", "anyone on site, 5 min",
		"Bring", "Changed since the last run", "1 cleared", "The panel says “PAPIERSTAU” “Hintere Klappe öffnen”",
		"unknown: some left", "before the next visit", "10.20.9.0/24", "no route, firewall or empty", "Tessaro", "Shared laser", "no such host", "fuser is hot enough to burn", makerFirst,
	} {
		at := strings.Index(got, want)
		if at < 0 {
			t.Errorf("%q is not on the page", want)
		}
		last = max(last, at)
	}
	if n := strings.Count(got, makerFirst); n != 1 {
		t.Errorf("the same caution %d times", n)
	}
}

// TestSmallCharts checks charts against ones drawn by hand. The left edge is 90 days
// back and a day is one unit wide; 100 % is at 0 and 0 % at 25.
func TestSmallCharts(t *testing.T) {
	now := seen
	supply := &device.Supply{Index: 1, Kind: "toner"}
	reading := func(back int, percent float64) device.Night {
		r := device.SupplyReading{Index: 1, Kind: "toner", Percent: &percent}
		if percent < 0 {
			r.Percent = nil
		}
		return device.Night{At: now.AddDate(0, 0, -back), Supplies: []device.SupplyReading{r}}
	}
	end := func(days ...float64) *forecast.Distribution {
		d := &forecast.Distribution{}
		for _, x := range days {
			d.At = append(d.At, now.Add(time.Duration(x*24*float64(time.Hour))))
		}
		return d
	}
	ten := func(from, step float64) *forecast.Distribution {
		var days []float64
		for i := range 10 {
			days = append(days, from+step*float64(i))
		}
		return end(days...)
	}
	for _, c := range []struct {
		name   string
		nights []device.Night
		end    *forecast.Distribution
		want   *sparkView
	}{
		{"no nights", nil, nil, nil},
		{"one level only", []device.Night{reading(3, 50)}, nil, nil},
		{"levels that were not known", []device.Night{reading(3, 50), reading(2, -1), reading(1, -1)}, nil, nil},
		{"a fall", []device.Night{reading(10, 80), reading(5, 80), reading(0, 40)}, nil, &sparkView{Line: "M80 5h10v10"}},
		{"a replacement", []device.Night{reading(4, 4), reading(2, 100), reading(0, 100)}, nil, &sparkView{Line: "M86 24h2v-24h2"}},
		{"weeks without a level", []device.Night{reading(40, 80), reading(39, 80), reading(9, 40), reading(8, 40)}, nil, &sparkView{Line: "M50 5h1M81 15h1"}},
		{"beyond the left edge", []device.Night{reading(200, 100), reading(20, 60), reading(19, 60)}, nil, &sparkView{Line: "M70 10h1"}},
		{"a level above 100", []device.Night{reading(2, 130), reading(1, 100)}, nil, &sparkView{Line: "M88 0h1"}},
		{"an end within the chart", []device.Night{reading(1, 40), reading(0, 40)}, ten(10, 5),
			&sparkView{Line: "M89 15h1", Band: "M90 15L100 25L140 25z"}},
		{"a late end beyond", []device.Night{reading(1, 40), reading(0, 40)}, ten(10, 13.75),
			&sparkView{Line: "M89 15h1", Band: "M90 15L100 25L150 25L150 20z"}},
		{"an end of yesterday", []device.Night{reading(1, 0), reading(0, 0)}, ten(-5, 0), &sparkView{Line: "M89 25h1", Band: "M90 25L90 25L90 25z"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			m := &htmlMaker{now: now, nights: func(string) []device.Night { return c.nights }}
			got := m.history("k").trend(supply, c.end)
			if fmt.Sprintf("%+v", got) != fmt.Sprintf("%+v", c.want) && (got == nil || c.want == nil || *got != *c.want) {
				t.Errorf("got %+v, want %+v", got, c.want)
			}
		})
	}
}

// fleetOf are full devices at several sites, each its own.
func fleetOf(n int) *device.Survey {
	s := sampleSurvey()
	s.Devices = nil
	for i := range n {
		d := fullDevice()
		d.Key = fmt.Sprintf("serial:mf-9:%06d", i)
		d.Name = device.Text(fmt.Sprintf("Printer %d", i))
		d.Site = device.Text(fmt.Sprintf("Branch %d", i/40))
		d.Location = device.Text(fmt.Sprintf("Floor %d, room %d", i%4, i%17))
		d.Addresses = addrs(fmt.Sprintf("10.%d.%d.%d", 20+i/65536, i/256%256, i%256))
		s.Devices = append(s.Devices, d)
	}
	return s
}

// TestHTMLStaysSmall: a thousand full devices with history and forecasts.
func TestHTMLStaysSmall(t *testing.T) {
	s := fleetOf(1000)
	var size counter
	if err := Write(&size, s, Options{Format: HTML, Beside: besideOf(s)}); err != nil {
		t.Fatal(err)
	}
	t.Logf("%d octets", size)
	if size > 5_000_000 || size < 1_000_000 {
		t.Errorf("%d octets", size)
	}
}

type counter int

func (c *counter) Write(b []byte) (int, error) {
	*c += counter(len(b))
	return len(b), nil
}

// BenchmarkHTML writes pages of 1,000 full devices without and with 60 nights
// and forecasts.
func BenchmarkHTML(b *testing.B) {
	s := fleetOf(1000)
	for name, o := range map[string]Options{"survey": {Format: HTML}, "history": {Format: HTML, Beside: besideOf(s)}} {
		b.Run(name, func(b *testing.B) {
			b.ReportAllocs()
			var size counter
			for b.Loop() {
				size = 0
				if err := Write(io.MultiWriter(&size, io.Discard), s, o); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64(size)/1e6, "MB/page")
		})
	}
}
