package report_test

import (
	"bytes"
	"encoding/csv"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"

	"printround/internal/cgats"
	"printround/internal/color"
	"printround/internal/device"
	"printround/internal/proof"
	"printround/internal/report"
)

func patches(t *testing.T, src string) *color.Set {
	t.Helper()
	f, err := cgats.Parse([]byte(src))
	if err != nil {
		t.Fatal(err)
	}
	s, err := color.Load("readings.txt", f)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// readings are pages of an invented printer, read by an invented instrument.
func readings(t *testing.T, name string) string {
	t.Helper()
	b, err := os.ReadFile("testdata/readings-" + name + ".txt")
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

func thePage() *color.Set {
	var out []color.Patch
	for _, p := range proof.Patches() {
		out = append(out, color.Patch{ID: device.Text(p.ID), Name: device.Text(p.Name), RGB: &[3]float64{float64(p.Color.R), float64(p.Color.G), float64(p.Color.B)}})
	}
	return color.Nominal("the proof page", out)
}

func rows(fields string, lines ...string) string {
	return "CGATS.17\nBEGIN_DATA_FORMAT\n" + fields + "\nEND_DATA_FORMAT\nBEGIN_DATA\n" + strings.Join(lines, "\n") + "\nEND_DATA\n"
}

func comparisons(t *testing.T) map[string]*color.Comparison {
	t.Helper()
	many := []string{"W 95 0 -3"}
	for i := range 300 {
		many = append(many, "p"+strconv.Itoa(i)+" "+strconv.Itoa(20+i%70)+" 0 0")
	}
	hostile := rows("SAMPLE_ID SAMPLE_NAME LAB_L LAB_A LAB_B", `"=1+1" "C100" 61 -20 -41`, `"<b>|x" "W" 95 1 -4`, `3 "@SUM(A1)" 50 -3 2`, `4 "K100" 14 0 -1`)
	out := map[string]*color.Comparison{}
	for name, pair := range map[string][2]*color.Set{
		"good":      {patches(t, readings(t, "good")), thePage()},
		"cyan":      {patches(t, readings(t, "cyan-low")), thePage()},
		"tones":     {patches(t, readings(t, "tones")), patches(t, readings(t, "good"))},
		"few":       {patches(t, rows("SAMPLE_NAME LAB_L LAB_A LAB_B", "C100 61 -20 -41", "Z9 50 0 0")), thePage()},
		"no-paper":  {patches(t, strings.ReplaceAll(readings(t, "cyan-low"), " W ", " X ")), thePage()},
		"hostile":   {patches(t, hostile), patches(t, hostile)},
		"only-w":    {patches(t, rows("SAMPLE_NAME LAB_L LAB_A LAB_B", "W 95 0 -4")), thePage()},
		"chart":     {patches(t, rows("SAMPLE_ID LAB_L LAB_A LAB_B", many...)), patches(t, strings.ReplaceAll(rows("SAMPLE_ID LAB_L LAB_A LAB_B", many...), " 0 0", " 9 -9"))},
		"more-here": {patches(t, rows("SAMPLE_ID LAB_L LAB_A LAB_B", many...)), thePage()},
	} {
		c, err := color.Compare(pair[0], pair[1])
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		out[name] = c
	}
	return out
}

func writeColor(t *testing.T, c *color.Comparison, o report.Options) []byte {
	t.Helper()
	return report.Rendered(t, report.WriteColor, c, o)
}

func TestColorGolden(t *testing.T) {
	all := comparisons(t)
	for name, c := range map[string]struct {
		of   string
		opts report.Options
	}{
		"color-80.txt":       {"cyan", report.Options{Width: 80}},
		"color-40.txt":       {"cyan", report.Options{Width: 40, Plain: true}},
		"color-explain.txt":  {"tones", report.Options{Width: 120, Explain: true, Color: true}},
		"color-good.txt":     {"good", report.Options{Width: 80}},
		"color-few.txt":      {"few", report.Options{Width: 80}},
		"color-no-paper.txt": {"no-paper", report.Options{Width: 80}},
		"color-chart.txt":    {"chart", report.Options{Width: 80}},
		"color.md":           {"tones", report.Options{Format: report.Markdown, Explain: true}},
		"color.csv":          {"few", report.Options{Format: report.CSV}},
		"color.json":         {"cyan", report.Options{Format: report.JSON}},
	} {
		t.Run(name, func(t *testing.T) { report.Golden(t, name, writeColor(t, all[c.of], c.opts)) })
	}
}

// Every comparison fits every width, is text, follows its schema, and has
// numbers in its CSV that are numbers and texts that are no formulas.
func TestColorInEveryForm(t *testing.T) {
	schema := report.Compiled(t, color.Schema)
	for name, c := range comparisons(t) {
		for _, o := range everyWidth(report.Options{Explain: true}) {
			report.CheckText(t, string(writeColor(t, c, o)), o)
		}
		plain := report.Options{Plain: true, Explain: true}
		text := writeColor(t, c, plain)
		report.CheckText(t, string(text), plain)
		if bytes.Contains(text, []byte("?E")) {
			t.Errorf("%s: plain text lost a sign", name)
		}
		if md := writeColor(t, c, report.Options{Format: report.Markdown}); bytes.Contains(md, []byte("<b>")) {
			t.Errorf("%s: Markdown lets HTML through", name)
		}
		if err := report.Validate(t, schema, writeColor(t, c, report.Options{Format: report.JSON})); err != nil {
			t.Errorf("%s: %v", name, err)
		}
		checkColorCSV(t, name, c)
	}
}

func checkColorCSV(t *testing.T, name string, c *color.Comparison) {
	t.Helper()
	table, err := csv.NewReader(bytes.NewReader(writeColor(t, c, report.Options{Format: report.CSV, BOM: true})[3:])).ReadAll()
	if err != nil || len(table) != 1+len(c.Patches)+len(c.Missing) {
		t.Fatalf("%s: %d rows, %v", name, len(table), err)
	}
	texts := []string{"measured", "reference", "verdict", "id", "name", "channel"}
	for _, r := range table[1:] {
		for i, cell := range r {
			if slices.Contains(texts, table[0][i]) {
				if cell != "" && strings.ContainsRune("=+-@", rune(cell[0])) {
					t.Errorf("%s: cell %q is a formula", name, cell)
				}
				continue
			}
			if _, err := strconv.ParseFloat(cell, 64); err != nil && cell != "" {
				t.Errorf("%s: %s is %q", name, table[0][i], cell)
			}
		}
	}
}

func TestColorSchemaNoticesDrift(t *testing.T) {
	schema := report.Compiled(t, color.Schema)
	good := writeColor(t, comparisons(t)["cyan"], report.Options{Format: report.JSON})
	report.NoticesDrift(t, schema, good, func(doc map[string]any) map[string]any { return doc["patches"].([]any)[0].(map[string]any) }, map[string]func(doc, patch map[string]any){
		"unknown field":    func(doc, _ map[string]any) { doc["extra_field"] = 1 },
		"missing field":    func(_, patch map[string]any) { delete(patch, "delta_e_00") },
		"difference below": func(_, patch map[string]any) { patch["delta_e_00"] = -1 },
		"other verdict":    func(doc, _ map[string]any) { doc["verdict"] = "fine" },
		"no patches":       func(doc, _ map[string]any) { doc["patches"] = []any{} },
		"null for a list":  func(doc, _ map[string]any) { doc["notes"] = nil },
		"other schema":     func(doc, _ map[string]any) { doc["schema"] = "printround.color/2" },
	})
}

func TestColorHasNoOtherFormat(t *testing.T) {
	if err := report.WriteColor(&bytes.Buffer{}, comparisons(t)["few"], report.Options{Format: "html"}); err == nil || !strings.Contains(err.Error(), "choose one of") {
		t.Errorf("html: %v", err)
	}
}
