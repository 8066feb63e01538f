package site

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"printround/internal/device"
)

type rawNorm struct {
	Model         string        `toml:"model"`
	Media         string        `toml:"media"`
	ReadyMedia    []string      `toml:"ready_media"`
	Orientation   string        `toml:"orientation"`
	Sides         string        `toml:"sides"`
	ColorMode     string        `toml:"color_mode"`
	ResolutionDPI *int          `toml:"resolution_dpi"`
	OutputBin     string        `toml:"output_bin"`
	Finishings    []string      `toml:"finishings"`
	Languages     []string      `toml:"languages"`
	Punch         []string      `toml:"punch"`
	Trays         []rawNormTray `toml:"tray"`
}

type rawNormTray struct {
	Name   string   `toml:"name"`
	Index  *int     `toml:"index"`
	Media  string   `toml:"media"`
	Type   string   `toml:"type"`
	Weight *float64 `toml:"weight_gsm"`
}

// Keywords of RFC 8011 section 5.2.8 (sides) and PWG 5100.13 section 5.2.3
// (print-color-mode).
var (
	sidesWords = []string{"one-sided", "two-sided-long-edge", "two-sided-short-edge"}
	colorModes = []string{"auto", "auto-monochrome", "bi-level", "color", "highlight", "monochrome", "process-bi-level", "process-monochrome"}
)

// norms reads how the site wants devices to be set, for all or by model.
func (c *checker) norms(where string, raw []rawNorm) []device.Norm {
	var out []device.Norm
	seen := map[string]bool{}
	for i := range raw {
		at := fmt.Sprintf("%s.norm[%d]", where, i)
		n := c.norm(at, &raw[i])
		c.once(at, seen, "norm", cmp.Or(n.Model, "all models"))
		out = append(out, n)
	}
	return out
}

func (c *checker) norm(at string, raw *rawNorm) device.Norm {
	n := device.Norm{
		Model:       c.pattern(at+".model", raw.Model),
		Media:       c.text(at+".media", raw.Media),
		Ready:       c.words(at+".ready_media", raw.ReadyMedia),
		Orientation: c.oneOf(at+".orientation", raw.Orientation, orientations[:len(orientations)-1]),
		Sides:       c.oneOf(at+".sides", raw.Sides, sidesWords),
		ColorMode:   c.oneOf(at+".color_mode", raw.ColorMode, colorModes),
		OutputBin:   c.text(at+".output_bin", raw.OutputBin),
		Finishings:  c.words(at+".finishings", raw.Finishings),
		Languages:   c.words(at+".languages", raw.Languages),
		Punch:       c.words(at+".punch", raw.Punch),
	}
	c.whole(at+".resolution_dpi", raw.ResolutionDPI, 1, 9600)
	if raw.ResolutionDPI != nil {
		n.Resolution = *raw.ResolutionDPI
	}
	seen := map[string]bool{}
	for i := range raw.Trays {
		where := fmt.Sprintf("%s.tray[%d]", at, i)
		t := c.normTray(where, &raw.Trays[i])
		if t.Tray != "" {
			c.once(where, seen, "tray", t.Tray)
		}
		n.Trays = append(n.Trays, t)
	}
	empty := n.Media == "" && n.Orientation == "" && n.Sides == "" && n.ColorMode == "" && n.OutputBin == "" && raw.ResolutionDPI == nil
	if empty && len(n.Ready)+len(n.Finishings)+len(n.Languages)+len(n.Punch)+len(n.Trays) == 0 {
		c.fail(at, "a norm that says nothing: wanted media, sides, color_mode or another setting")
	}
	return n
}

func (c *checker) normTray(where string, raw *rawNormTray) device.TrayNorm {
	t := device.TrayNorm{
		Tray:  c.text(where+".name", raw.Name),
		Media: c.text(where+".media", raw.Media),
		Type:  c.text(where+".type", raw.Type),
	}
	switch {
	case t.Tray == "" && raw.Index == nil:
		c.fail(where, "a tray without name and index: wanted one of them")
	case t.Tray != "" && raw.Index != nil:
		c.fail(where, "a tray with name and index: wanted one of them")
	case raw.Index != nil:
		c.whole(where+".index", raw.Index, 1, 1000)
		t.Tray = fmt.Sprint(*raw.Index)
	}
	if w := raw.Weight; w != nil {
		t.Weight = *w
		if !(*w >= 10 && *w <= 1000) {
			c.fail(where+".weight_gsm", "weight_gsm = %v: wanted 10 to 1000 g/m2", *w)
		}
	}
	if t.Media == "" && t.Type == "" && raw.Weight == nil {
		c.fail(where, "a tray that says nothing: wanted media, type or weight_gsm")
	}
	return t
}

// oneOf takes a keyword in any case.
func (c *checker) oneOf(where, s string, words []string) string {
	w := strings.ToLower(strings.TrimSpace(s))
	if w != "" && !slices.Contains(words, w) {
		c.fail(where, "%s %q: wanted one of %s", where[strings.LastIndexByte(where, '.')+1:], s, strings.Join(words, ", "))
	}
	return w
}
