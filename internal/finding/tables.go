package finding

import (
	"embed"
	"fmt"
	"strconv"
	"strings"

	"printround/internal/device"
	"printround/internal/tables"
)

// The knowledge of the trade and of the registries, as data. See the head of
// each file for its source.
//
//go:embed data
var dataFiles embed.FS

var data = tables.Data{FS: dataFiles}

// subject is a row of subjects.toml.
type subject struct {
	Prefix, Kind, Group, Path, Noun, Place string
	Family, Variant, Tech, Neutral, Part   string
	Generic                                bool
	Cautions                               []string
}

// condition is a row of conditions.toml.
type condition struct {
	Suffix, Kinds    []string
	Nature, Family   string
	Stage            int
	Summary, Meaning string
	Causes, Steps    []string
	Part, Who        string
	Phone            *int // as of written
	Minutes          int
	Cautions         []string
}

// written is a row of advice.toml.
type written struct {
	Code      string
	Also      []string // further codes that it is for
	Tech      []string // classes
	At        []string // places of places.tsv
	Of        []string // nouns of kinds.tsv and partwords.tsv
	Stage     int      // 1: near the end, 2: at it
	Meaning   string
	Causes    []string
	Steps     []string
	Part, Who string
	Phone     *int // leading steps that can be done by phone; may be left out where phoneSteps knows
	Minutes   int
	Cautions  []string
}

// kind is a row of kinds.tsv, or of partwords.tsv.
type kind struct {
	name, class, low, out, noun, part string
	tech                              []string // classes of technologies that have it; empty: any
}

// Classes of supplies.
const (
	classConsumable = "consumable"
	classLongLife   = "long-life"
	classWaste      = "waste"
)

// nature is a row of natures.tsv.
type nature struct {
	name                       string
	stop, error, warning, note device.Impact
}

// technology is a row of technologies.tsv.
type technology struct {
	class string // toner, ink, thermal, impact; empty: unknown
	paper string // what it prints on
}

func readNatures() (map[string]*nature, error) {
	rows, err := data.Keyed("natures.tsv", "nature", "stop", "error", "warning", "report")
	if err != nil {
		return nil, err
	}
	m := map[string]*nature{}
	for k, r := range rows {
		for _, i := range r[1:] {
			if device.Impact(i).Rank() > device.ImpactNote.Rank() {
				return nil, fmt.Errorf("natures.tsv: %q is no impact", i)
			}
		}
		m[k] = &nature{k, device.Impact(r[1]), device.Impact(r[2]), device.Impact(r[3]), device.Impact(r[4])}
	}
	return m, nil
}

func readWeights() (map[string]float64, error) {
	rows, err := data.Keyed("weights.tsv", "key", "weight")
	if err != nil {
		return nil, err
	}
	m := map[string]float64{}
	for k, r := range rows {
		w, err := strconv.ParseFloat(r[1], 64)
		if err != nil || w < 0 || w > 1 {
			return nil, fmt.Errorf("weights.tsv: %s: %q is not within 0 and 1", k, r[1])
		}
		m[k] = w
	}
	return m, nil
}

func readKinds() (map[string]*kind, []kind, error) {
	rows, err := data.Keyed("kinds.tsv", "kind", "class", "low", "out", "noun", "part", "tech")
	if err != nil {
		return nil, nil, err
	}
	kinds := map[string]*kind{}
	for k, r := range rows {
		kinds[foldKind(k)] = &kind{k, r[1], r[2], r[3], r[4], r[5], strings.FieldsFunc(r[6], func(c rune) bool { return c == ',' })}
	}
	words, err := data.Rows("partwords.tsv", "word", "low", "out", "noun", "part")
	if err != nil {
		return nil, nil, err
	}
	var parts []kind
	for _, r := range words {
		parts = append(parts, kind{r[0], classLongLife, r[1], r[2], r[3], r[4], nil})
	}
	return kinds, parts, nil
}

// foldKind brings a label of the MIB and its keyword form to one spelling:
// wasteToner and waste-toner are the same.
func foldKind(s string) string {
	return strings.ToLower(strings.ReplaceAll(s, "-", ""))
}
