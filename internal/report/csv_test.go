package report

import (
	"bytes"
	"encoding/csv"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"printround/internal/device"
)

// records parses CSV with the reader of the standard library, which knows
// nothing of how we write.
func records(t testing.TB, b []byte) [][]string {
	t.Helper()
	all, err := csv.NewReader(bytes.NewReader(b)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	return all
}

// cells returns one row by heading.
func cells(t testing.TB, b []byte, row int) map[string]string {
	t.Helper()
	all := records(t, b)
	out := map[string]string{}
	for i, h := range all[0] {
		out[h] = all[row+1][i]
	}
	return out
}

// TestDeviceColumns holds the published order of columns.
func TestDeviceColumns(t *testing.T) {
	const published = "observed_at, site, key, name, location, make_model, serial, addresses, attention, urgency, why, next_step, " +
		"lowest_supply, lowest_percent, lowest_reason, life_count, pages_since_last, black, black_reason, cyan, cyan_reason, " +
		"magenta, magenta_reason, yellow, yellow_reason, waste_left, waste_reason, snmp, ipp, last_seen, errors"
	want := strings.Split(published, ", ")
	if diff := cmp.Diff(want, records(t, render(t, sampleSurvey(), Options{Format: CSV}))[0]); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
}

func TestColumnsAreTheHeadings(t *testing.T) {
	for _, rows := range RowKinds() {
		var names []string
		seen := map[string]bool{}
		for _, c := range Columns(rows) {
			if c.Name == "" || c.Doc == "" || seen[c.Name] {
				t.Errorf("%s: column %+v is unnamed, undocumented or there twice", rows, c)
			}
			seen[c.Name] = true
			names = append(names, c.Name)
		}
		all := records(t, render(t, sampleSurvey(), Options{Format: CSV, Rows: rows}))
		if diff := cmp.Diff(names, all[0]); diff != "" {
			t.Errorf("%s (-documented +written):\n%s", rows, diff)
		}
		if len(all) < 2 {
			t.Errorf("%s: no rows", rows)
		}
	}
}

// TestCSVForm: RFC 4180 section 2, rules 1 (CRLF), 4 (same number of fields),
// 6 and 7 (quotes); rule 4 is checked by the reader.
func TestCSVForm(t *testing.T) {
	b := render(t, sampleSurvey(), Options{Format: CSV})
	if n, crlf := bytes.Count(b, []byte("\n")), bytes.Count(b, []byte("\r\n")); n != crlf || !bytes.HasSuffix(b, []byte("\r\n")) {
		t.Errorf("%d line ends, %d of them CRLF", n, crlf)
	}
	marked := render(t, sampleSurvey(), Options{Format: CSV, BOM: true})
	if !bytes.HasPrefix(marked, []byte{0xef, 0xbb, 0xbf}) || bytes.HasPrefix(b, []byte{0xef, 0xbb, 0xbf}) {
		t.Error("byte order mark only when asked for")
	}
}

func TestUnknownIsEmptyWithReason(t *testing.T) {
	b := render(t, sampleSurvey(), Options{Format: CSV})
	mfp := cells(t, b, 0)
	silent, mono, label := cells(t, b, 1), cells(t, b, 3), cells(t, b, 9)
	for _, c := range []struct{ what, got, want string }{
		{"yellow some-left", mfp["yellow"] + "/" + mfp["yellow_reason"], "/some-left"},
		{"black is the cartridge, not the drum", mfp["black"] + "/" + mfp["black_reason"], "6/"},
		{"lowest is the drum", mfp["lowest_supply"] + "/" + mfp["lowest_percent"], "black drum/2"},
		{"waste", mfp["waste_left"] + "/" + mfp["waste_reason"], "35/"},
		{"no history", mfp["pages_since_last"], ""},
		{"answered", mfp["last_seen"], mfp["observed_at"]},
		{"silent", silent["black"] + "/" + silent["black_reason"] + "/" + silent["last_seen"], "/no-answer/"},
		{"silent lowest", silent["lowest_percent"] + "/" + silent["lowest_reason"], "/no-answer"},
		{"silent attention", silent["attention"], "silent"},
		{"mono has no cyan", mono["cyan"] + "/" + mono["cyan_reason"], "/not-reported"},
		{"ribbon some-left", label["lowest_percent"] + "/" + label["lowest_reason"], "/some-left"},
		{"no counter", label["life_count"], ""},
		{"leading zeros", mfp["serial"], "0012345"},
	} {
		if c.got != c.want {
			t.Errorf("%s: got %q, want %q", c.what, c.got, c.want)
		}
	}
}

func TestSeveralSuppliesOfOneColour(t *testing.T) {
	d := device.Device{Key: "addr:10.0.0.1", Reached: reached(true, false), Supplies: []device.Supply{
		toner(1, "black", 9000), toner(2, "Black", 3000),
		{Index: 3, Kind: "toner", Role: device.Consumed, Colorant: "black", Level: device.NoLevel(device.LevelUnknown)},
		{Index: 4, Kind: "wasteToner", Role: device.Receptacle, Colorant: "black", Level: device.KnownLevel(1, 100, device.SpaceLeft)},
	}}
	row := cells(t, renderDevice(t, &d, Options{Format: CSV}), 0)
	if row["black"] != "30" || row["black_reason"] != "unknown" || row["waste_left"] != "1" {
		t.Errorf("black %q, reason %q, waste %q", row["black"], row["black_reason"], row["waste_left"])
	}
}

// TestReachCells: an answer cut short is not a whole one.
func TestReachCells(t *testing.T) {
	for want, d := range map[string]device.Device{
		"ok,no-answer":        {Reached: reached(true, false)},
		"no-answer,ok":        {Reached: reached(false, true)},
		"not-tried,not-tried": {},
		"partial,not-tried":   {Reached: device.Reached{SNMP: device.SNMPReach{OK: true, Tried: true, Partial: true}}},
	} {
		row := cells(t, renderDevice(t, &d, Options{Format: CSV}), 0)
		if got := row["snmp"] + "," + row["ipp"]; got != want {
			t.Errorf("got %s, want %s", got, want)
		}
	}
}

func TestFormulasAreInert(t *testing.T) {
	for in, want := range map[string]string{
		"=1+1": "'=1+1", "+1": "'+1", "-1": "'-1", "@A1": "'@A1", "\t=1": "'=1", "\r=1": "'=1", " =1": "'=1", "\n=1": "'=1", "\t1": "1",
		"＝1": "'＝1", "a=1": "a=1", "'=1": "'=1", "": "", "10-20": "10-20", "\x1b=1": `\x1b=1`,
	} {
		if got := inert(in); got != want {
			t.Errorf("inert(%q) = %q, want %q", in, got, want)
		}
	}
}

// TestTextStaysTextInSpreadsheets: what spreadsheets do with digits is common
// practice, no source.
func TestTextStaysTextInSpreadsheets(t *testing.T) {
	for in, want := range map[string]string{
		"0012345": "'0012345", "1234567890123456": "'1234567890123456", "12E5": "'12E5", "1e3": "'1e3",
		"0": "0", "7": "7", "100": "100", "0.5": "0.5", "99.5": "99.5", "E5": "E5", "5E": "5E", "AB12": "AB12", "": "", "2025-03-04T17:05:00Z": "2025-03-04T17:05:00Z",
	} {
		if got := asText(in); got != want {
			t.Errorf("asText(%q) = %q, want %q", in, got, want)
		}
	}
	marked := cells(t, bytes.TrimPrefix(render(t, sampleSurvey(), Options{Format: CSV, BOM: true}), []byte("\ufeff")), 0)
	if marked["serial"] != "'0012345" || marked["life_count"] != "1234567" {
		t.Errorf("serial %q, life count %q", marked["serial"], marked["life_count"])
	}
}
