package report

import (
	"bytes"
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"printround/internal/device"
	"printround/internal/term"
)

// headings are the columns of the ranked table in their published order.
var headings = []string{"#", "ATTENTION", "URG", "DEVICE", "WHERE", "WHY", "NEXT STEP", "LOWEST", "PAGES"}

// headingLine returns the columns that a table shows, as one line without gaps.
func headingLine(out string) string {
	for l := range strings.Lines(out) {
		if strings.HasPrefix(strings.TrimLeft(l, " "), "#  ATTENTION") {
			return strings.Join(strings.Fields(l), " ")
		}
	}
	return ""
}

// TestColumnsDropFromTheRight: at each width the table shows a beginning of the
// published columns, never fewer when wider, and all of them on a page.
func TestColumnsDropFromTheRight(t *testing.T) {
	shown := 0
	for w := minWidth; w <= 220; w++ {
		got := headingLine(string(render(t, sampleSurvey(), Options{Width: w})))
		n := slices.IndexFunc(headings, func(h string) bool { return !strings.Contains(" "+got+" ", " "+h+" ") })
		if n < 0 {
			n = len(headings)
		}
		if got != strings.Join(headings[:n], " ") {
			t.Fatalf("width %d shows %q", w, got)
		}
		if n < shown {
			t.Fatalf("width %d shows %d columns, a narrower page %d", w, n, shown)
		}
		shown = n
	}
	if got := headingLine(string(render(t, sampleSurvey(), Options{}))); got != strings.Join(headings, " ") {
		t.Errorf("a printed page shows only %q", got)
	}
}

// manyDevices is an office in which every device needs long words.
func manyDevices(n int) *device.Survey {
	s := sampleSurvey()
	s.Devices = nil
	for i := range n {
		d := plainDevice(i%10, "", "5th floor, the long corridor behind the lifts", "", fmt.Sprintf("10.20.%d.%d", i/200, 1+i%200))
		d.Findings[0].Advice.Steps[0] = strings.Repeat("words that need several lines ", 5)
		s.Devices = append(s.Devices, d)
	}
	return s
}

// TestFitsAPage: an office of 56 printers with what belongs below the table is
// one page, whatever the texts.
func TestFitsAPage(t *testing.T) {
	for _, n := range []int{1, 8, 16, 24, 32, 40, 56} {
		out := string(render(t, manyDevices(n), Options{}))
		if lines := strings.Count(out, "\n"); lines > pageLines {
			t.Errorf("%d devices take %d lines", n, lines)
		}
	}
	s := manyDevices(20)
	s.Partial = true
	if lines := strings.Count(string(render(t, s, Options{})), "\n"); lines > pageLines {
		t.Errorf("partial survey takes %d lines", lines)
	}
}

// TestTheWorstGetTheRoom: when not every cell can be broken, the first rows are.
func TestTheWorstGetTheRoom(t *testing.T) {
	var lines []string
	table := false
	for l := range strings.Lines(string(render(t, manyDevices(46), Options{}))) {
		table = (table || strings.Contains(l, "ATTENTION")) && l != "\n"
		if table {
			lines = append(lines, l)
		}
	}
	rows := lines[2:]
	if strings.HasPrefix(strings.TrimSpace(rows[1]), "2  ") {
		t.Error("the first row has one line only")
	}
	if n := len(rows); !strings.HasPrefix(rows[n-1], "46") || !strings.HasPrefix(rows[n-2], "45") {
		t.Error("the last rows have more than one line")
	}
}

// TestEqualModelsDiffer: the same model many times is told apart by location,
// host name or address, in every width and format.
func TestEqualModelsDiffer(t *testing.T) {
	var s device.Survey
	for i, c := range []struct{ location, host, addr string }{
		{"Archive", "", "10.0.0.1"}, {"Lobby", "", "10.0.0.2"},
		{"Office", "a.example", "10.0.0.3"}, {"Office", "b.example", "10.0.0.4"},
		{"Store", "", "10.0.0.5"}, {"Store", "", "10.0.0.6"}, {"Store", "", "10.0.0.66"},
		{"", "", "10.0.0.7"}, {"", "", "10.0.0.8"},
		{"The very long corridor, far end", "", "10.0.0.9"}, {"The very long corridor, near end", "", "10.0.0.10"},
		{"Box", "", "10.0.0.11"}, {"Box", "", "10.0.0.11"}, // two printers behind one address
	} {
		d := plainDevice(i%10, "", c.location, c.host, c.addr)
		d.Serial = ""
		d.Key = fmt.Sprintf("addr:%s#%d", c.addr, i)
		s.Devices = append(s.Devices, d)
	}
	for _, w := range []int{40, 60, 80, 120, 200} {
		st := newStyle(Options{Width: w})
		ranked, _ := split(s.Devices)
		for _, withPlace := range []bool{false, true} {
			var where []string
			width := 16
			if withPlace {
				for _, d := range ranked {
					where = append(where, st.cut(d.Place(false), 12))
				}
			}
			seen := map[string]int{}
			for i, n := range names(st, ranked, where, width) {
				row := st.oneLine(n, width)
				if term.DisplayWidth(row) > width {
					t.Errorf("%q is wider than %d", row, width)
				}
				if where != nil {
					row += " | " + where[i]
				}
				if first, twice := seen[row]; twice {
					t.Errorf("with place %v: rows %d and %d both read %q", withPlace, first, i, row)
				}
				seen[row] = i
			}
		}
	}
}

// TestLongNamesThatDifferAtTheEnd would look the same once cut.
func TestLongNamesThatDifferAtTheEnd(t *testing.T) {
	a, b := plainDevice(1, "Printer of the accounts department, left", "Office", "", "10.0.0.1"), plainDevice(2, "Printer of the accounts department, right", "Office", "", "10.0.0.2")
	st := newStyle(Options{})
	got := names(st, []*device.Device{&a, &b}, []string{"Office", "Office"}, 20)
	if x, y := st.oneLine(got[0], 20), st.oneLine(got[1], 20); x == y || !strings.HasSuffix(x, "10.0.0.1") || !strings.HasSuffix(y, "10.0.0.2") {
		t.Errorf("%q and %q", x, y)
	}
}

// TestOrderIsKept: the report does not sort.
func TestOrderIsKept(t *testing.T) {
	s := sampleSurvey()
	slices.Reverse(s.Devices)
	var want, got []string
	for _, d := range s.Devices {
		if d.Role == device.RolePrinter {
			want = append(want, fmt.Sprintf("%d %s %d", len(want)+1, d.Attention, d.Urgency))
		}
	}
	for l := range strings.Lines(string(render(t, s, Options{Width: 200}))) {
		if f := strings.Fields(l); len(f) > 3 && slices.Contains(attentionLevels, device.Attention(f[1])) && !strings.HasSuffix(f[1], ",") {
			got = append(got, strings.Join(f[:3], " "))
		}
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
}

func TestSharedQueuesAreNotRanked(t *testing.T) {
	for _, f := range []Format{Table, Markdown} {
		out := string(render(t, sampleSurvey(), Options{Format: f, Width: 200}))
		ranking, rest, ok := strings.Cut(out, "Shared queues, not ranked")
		if !ok || strings.Contains(ranking, "Shared laser") || !strings.Contains(rest, "Shared laser") {
			t.Errorf("%s: the queue is ranked or missing", f)
		}
	}
}

func TestBelowTheTable(t *testing.T) {
	out := strings.Join(strings.Fields(string(render(t, sampleSurvey(), Options{Width: 120}))), " ")
	for _, want := range []string{
		"10 printers: 1 stopped, 1 silent, 1 impaired, 5 due, 2 clear",
		"Changes since 2025-03-03 17:05 UTC: 1 new, 1 cleared, 1 moved",
		"Expected but silent: 1 Front desk, Reception, 10.20.1.31",
		"10.20.9.0/24 not reached: 254 probed, none answered: no route, firewall or empty",
		"10.20.1.0/24 254 probed, 14 answered, 10 printers",
		"10.20.1.90 answers SNMP, has neither the Printer MIB nor IPP (Quillon JetServer 2)",
		"DNS-SD does not cross subnets",
		"printer-x.example: name: no such host",
	} {
		if !strings.Contains(out, want) {
			t.Errorf("no %q in\n%s", want, out)
		}
	}
}

// TestLongListsAreCounted: what is left out of a list is said.
func TestLongListsAreCounted(t *testing.T) {
	s := sampleSurvey()
	for i := range 30 {
		s.Errors = append(s.Errors, device.Problem{Address: fmt.Sprintf("10.0.1.%d", i), Stage: "snmp", Message: "garbage"})
	}
	if out := string(render(t, s, Options{})); !strings.Contains(out, "Errors: 31") || !strings.Contains(out, "and 21 more errors") {
		t.Error("left out without saying so")
	}
	if out := string(render(t, s, Options{Explain: true})); strings.Contains(out, "more errors") || !strings.Contains(out, "10.0.1.29") {
		t.Error("not complete when explaining")
	}
}

func TestPartialComesFirst(t *testing.T) {
	s := sampleSurvey()
	s.Partial, s.PartialReason = true, "interrupted"
	for _, o := range []Options{{Width: 80}, {Width: 80, Plain: true}, {Width: 80, Color: true}, {Format: Markdown}} {
		first, rest, _ := bytes.Cut(render(t, s, o), []byte("\n"))
		if !bytes.Contains(first, []byte("PARTIAL SURVEY")) || !bytes.Contains(append(first, rest[:100]...), []byte("interrupted")) {
			t.Errorf("%+v begins with %q", o, first)
		}
	}
	s.PartialReason = ""
	if out := string(render(t, s, Options{})); !strings.Contains(out, "it ended early") {
		t.Error("a partial survey without a reason is not explained")
	}
}

func TestSilentToSNMPIsSaid(t *testing.T) {
	d := plainDevice(1, "Studio", "", "", "10.0.0.1")
	d.Reached = reached(false, true)
	if got, want := whyShort(&d), "Black cartridge is at 6% (SNMP silent)"; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
	d.Reached.SNMP.Tried = false // switched off by the user: nothing to say
	if got, want := whyShort(&d), "Black cartridge is at 6%"; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
}

// TestSitesAreNamed when a survey has several.
func TestSitesAreNamed(t *testing.T) {
	s := sampleSurvey()
	s.Devices[2].Site = "South branch"
	if out := string(render(t, s, Options{Width: 200})); !strings.Contains(out, "South branch, 2nd floor") || !strings.Contains(out, "North branch, Reception") {
		t.Errorf("sites are missing:\n%s", out)
	}
}

func TestExplainShowsTheArithmetic(t *testing.T) {
	d := fullDevice()
	want := "urgency 100: weights media-jam 0.90, toner-low 0.40; together 1-(1-0.90)(1-0.40) = 0.94; stopped is 80 to 100; the only one its site has: 5 more within these"
	if diff := cmp.Diff(want, urgencyLine(&d)); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
}

func TestOptionsGoTogether(t *testing.T) {
	for _, o := range []Options{{}, {Format: CSV, Rows: Trays}, {Format: JSON, Rows: Devices}} {
		if err := o.Check(); err != nil {
			t.Errorf("%+v: %v", o, err)
		}
	}
	for _, o := range []Options{{Format: "xml"}, {Rows: "pages", Format: CSV}, {Rows: Supplies}, {Rows: Trays, Format: JSON}} {
		if o.Check() == nil || Write(&bytes.Buffer{}, sampleSurvey(), o) == nil || WriteDevice(&bytes.Buffer{}, &device.Device{}, o) == nil {
			t.Errorf("%+v is accepted", o)
		}
	}
	if err := (Options{Format: "xml"}).Check(); err == nil || !strings.Contains(err.Error(), "table, csv, json, markdown") {
		t.Errorf("got %v", err)
	}
}

// failing accepts some bytes and then no more, as a full disk does.
type failing struct{ left int }

var errFull = errors.New("full")

func (f *failing) Write(b []byte) (int, error) {
	if len(b) > f.left {
		return 0, errFull
	}
	f.left -= len(b)
	return len(b), nil
}

func TestWriteErrorsAreReported(t *testing.T) {
	full := fullDevice()
	for _, f := range Formats() {
		for _, room := range []int{0, 10, 500} {
			if err := Write(&failing{room}, sampleSurvey(), Options{Format: f}); !errors.Is(err, errFull) {
				t.Errorf("%s after %d bytes: %v", f, room, err)
			}
			if err := WriteDevice(&failing{room / 2}, &full, Options{Format: f}); !errors.Is(err, errFull) {
				t.Errorf("device, %s after %d bytes: %v", f, room/2, err)
			}
		}
	}
}
