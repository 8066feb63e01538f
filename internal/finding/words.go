package finding

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"printround/internal/device"
)

// finding makes a finding of a cluster. stops tells whether anything stops the
// device.
func (j *judge) finding(c *cluster, stops bool) device.Finding {
	w := c.worst()
	lead := c.lead()
	near := c.nearness()
	f := device.Finding{Code: lead.keyword, Impact: c.impact(), Subunit: c.subunit(), Stale: c.stale(), AgeS: c.age()}
	f.Evidence = c.evidence()
	f.Summary = j.summary(c, lead, f.Subunit)
	if p := lead.subject.Path; !f.Stale && !stops && f.Impact == device.ImpactImpaired && (p == "scan" || p == "fax") {
		f.Summary += "; printing works"
	}
	rule := cmp.Or(c.raise, w.rule)
	if !f.Stale {
		f.Weight = j.o.weight(f.Code, f.Impact, near)
	}
	f.Why = string(f.Impact) + ": " + rule + "; weight " + strings.TrimSuffix(strconv.FormatFloat(f.Weight, 'f', 3, 64), ".000")
	if f.Impact == device.ImpactDue {
		f.Why += " at nearness " + strconv.FormatFloat(near, 'f', 2, 64)
	}
	f.Advice = j.advice(c, lead, f.Subunit)
	return f
}

// nearness is how near the end is: by the levels where there are any, else by
// the words of the sources.
func (c *cluster) nearness() float64 {
	word, level, gauged := 0.0, 0.0, false
	for _, s := range c.seen {
		switch {
		case s.stale || s.impact != device.ImpactDue:
		case s.hasNear:
			level, gauged = max(level, s.near), true
		default:
			word = max(word, s.near)
		}
	}
	if gauged {
		return level
	}
	return word
}

// lead returns the sighting that names the finding: the latest stage among
// those that hold, then the worst, then the most exact.
func (c *cluster) lead() *sighting {
	return slices.MinFunc(c.seen, func(a, b *sighting) int {
		return cmp.Or(
			cmp.Compare(rankBool(a.stale), rankBool(b.stale)),
			cmp.Compare(rankBool(a.past), rankBool(b.past)),
			cmp.Compare(b.condition.Stage, a.condition.Stage),
			cmp.Compare(rankBool(a.subject.Generic), rankBool(b.subject.Generic)),
			cmp.Compare(a.impact.Rank(), b.impact.Rank()),
			cmp.Compare(rankBool(b.specific()), rankBool(a.specific())),
			cmp.Compare(rankBool(b.gauged), rankBool(a.gauged)),
			strings.Compare(a.keyword, b.keyword),
		)
	})
}

// subunit returns the part that the cluster is about.
func (c *cluster) subunit() device.Subunit {
	sub := c.lead().sub
	for _, s := range c.seen {
		if s.specific() && sub.Index == 0 {
			sub = s.sub
		}
		if sub.Name == "" && s.sub.Group == sub.Group && s.sub.Index == sub.Index {
			sub.Name = s.sub.Name
		}
	}
	return sub
}

// age returns the greatest age that an alert of the cluster has.
func (c *cluster) age() *int64 {
	var oldest *int64
	for _, s := range c.seen {
		if s.age != nil && (oldest == nil || *s.age > *oldest) {
			age := *s.age
			oldest = &age
		}
	}
	return oldest
}

// evidence lists each fact once, in a fixed order.
func (c *cluster) evidence() []device.Evidence {
	list := make([]device.Evidence, 0, len(c.seen))
	for _, s := range c.seen {
		if s.proof != (device.Evidence{}) && !slices.Contains(list, s.proof) {
			list = append(list, s.proof)
		}
	}
	slices.SortStableFunc(list, func(a, b device.Evidence) int {
		return cmp.Or(strings.Compare(string(a.Source), string(b.Source)), strings.Compare(a.Object, b.Object), strings.Compare(a.Value, b.Value))
	})
	return list
}

// summary is one line for people, with the device's own name of the part.
func (j *judge) summary(c *cluster, lead *sighting, sub device.Subunit) string {
	var said []string
	for _, s := range c.seen {
		if s.text != "" && !slices.Contains(said, s.text) {
			said = append(said, s.text)
		}
	}
	unnamed := lead.condition.Nature == "unnamed" || lead.condition.Suffix[0] == "other"
	switch {
	case strings.HasPrefix(lead.family, "vendor/"):
		return "reports " + lead.text
	case lead.maintenance(sub):
		return "preventive service is due"
	case strings.HasPrefix(lead.keyword, "derived-") && len(said) == 1:
		return said[0]
	case strings.HasPrefix(lead.keyword, "derived-") && len(said) > 1:
		return fmt.Sprintf("%s, and %d more", said[0], len(said)-1)
	case unnamed && len(said) > 0:
		return fmt.Sprintf("reports %q", said[0])
	}
	words := j.filler(lead, sub, false)
	if c.stale() {
		return words.fill(staleSummary(c, lead))
	}
	if p := c.level(); p != nil && *p > 0 && (lead.condition.Nature == "low" || lead.condition.Family == "level" && lead.subject.Group == "markerSupplies") {
		at := "{name} at " + number(*p) + "%"
		switch {
		case lead.subject.Kind == "waste" || lead.condition.Family == "room":
			at = "{name}: " + number(*p) + "% space left"
		case lead.condition.Stage == 2:
			at += ", called empty"
		}
		return words.fill(at)
	}
	return words.fill(lead.condition.Summary)
}

// staleSummary names a condition that is listed and does not hold.
func staleSummary(c *cluster, lead *sighting) string {
	switch p := c.level(); {
	case p == nil:
		return lead.condition.Summary
	case lead.subject.Kind == "waste" || lead.condition.Family == "room":
		return fmt.Sprintf("%s, though %s%% space is left", lead.condition.Summary, number(*p))
	default:
		return fmt.Sprintf("%s, though at %s%%", lead.condition.Summary, number(*p))
	}
}

// level returns the level behind the cluster, nil when none is known.
func (c *cluster) level() *float64 {
	for _, s := range c.seen {
		if s.percent != nil {
			return s.percent
		}
	}
	return nil
}

// filler holds the words for the names in braces that texts of the tables have,
// such as {unit}.
type filler struct{ unit, name, noun, paper, in, part string }

// fill puts the words into a text of the tables. Other braces stay, those in the
// words themselves too.
func (f *filler) fill(text string) string {
	at := strings.IndexByte(text, '{')
	if at < 0 {
		return text // most have none
	}
	var b strings.Builder
	for ; at >= 0; at = strings.IndexByte(text, '{') {
		b.WriteString(text[:at])
		word, length := f.word(text[at:])
		b.WriteString(word)
		text = text[at+length:]
	}
	b.WriteString(text)
	return b.String()
}

// word returns the word for the name in braces that text begins with, and the
// length of the name; for any other text its first byte, which is a brace.
func (f *filler) word(text string) (word string, length int) {
	if end := strings.IndexByte(text, '}'); end > 0 {
		switch text[1:end] {
		case "unit":
			return f.unit, end + 1
		case "name":
			return f.name, end + 1
		case "noun":
			return f.noun, end + 1
		case "paper":
			return f.paper, end + 1
		case "in":
			return f.in, end + 1
		case "part":
			return f.part, end + 1
		}
	}
	return text[:1], 1
}

// filler finds the words for the names in braces. In sentences a part without a
// name of its own gets an article.
func (j *judge) filler(s *sighting, sub device.Subunit, sentence bool) filler {
	subject := j.spoken(s)
	paper := cmp.Or(j.tech.paper, "paper")
	place := strings.ReplaceAll(subject.Place, "{paper}", paper)
	noun := cmp.Or(s.noun, subject.Noun)
	if own := groupNouns[cmp.Or(sub.Group, s.sub.Group)]; own != "" && s.noun == "" && subject.Prefix == "subunit" {
		noun, place = own, own
	}
	if subject.Noun == "paper" {
		noun = paper
	}
	name := string(sub.Name)
	if sub.Group == "markerSupplies" {
		name = plainName(name, s.noun)
	}
	in := ""
	switch {
	case name != "":
		in = " in " + name
	case sub.Index > 0 && sub.Group == "input":
		name = "tray " + strconv.Itoa(sub.Index)
		in = " in " + name
	case s.noun != "":
		name = s.noun
	default:
		name = place
	}
	if sentence && sub.Name == "" && (sub.Index == 0 || sub.Group != "input") {
		name = "the " + name
	}
	part := cmp.Or(s.part, subject.Part)
	unit := part
	if subject.Kind == "finisher" {
		unit = strings.TrimSuffix(noun, " unit") + " unit" // its part is what it consumes
	}
	return filler{unit: unit, name: name, noun: noun, paper: paper, in: in, part: part}
}

// plainName says what a supply is where the device's own name for it is a
// letter or two, or nothing but its colour: C (cyan ink), black toner.
func plainName(name, noun string) string {
	switch {
	case noun == "" || name == "":
		return name
	case strings.HasPrefix(noun, strings.ToLower(name)+" "):
		return noun
	case utf8.RuneCountInString(name) <= 3:
		return name + " (" + noun + ")"
	}
	return name
}

// groupNouns says what a subunit is that only its group (PrtAlertGroupTC)
// names.
var groupNouns = map[string]string{
	"hostResourcesMIBStorageTable": "storage", "generalPrinter": "printer", "cover": "cover",
	"input": "input tray", "output": "output bin", "marker": "print engine", "markerSupplies": "supply",
	"mediaPath": "paper path", "channel": "data channel", "interpreter": "page interpreter",
	"consoleDisplayBuffer": "panel", "consoleLights": "panel", "finDevice": "finisher",
	"finSupply": "finisher supply", "finSupplyMediaInput": "inserter tray",
}

// spoken returns the subject whose words are used: on a device of another
// technology than its own, the neutral one.
func (j *judge) spoken(s *sighting) *subject {
	if s.subject.Tech == "" || j.tech.class == "" || s.subject.Tech == j.tech.class {
		return s.subject
	}
	for _, o := range known().subjects {
		if o.Prefix == s.subject.Neutral {
			return o
		}
	}
	return s.subject
}
