package finding

import (
	"fmt"
	"slices"
	"unicode"
	"unicode/utf8"

	"printround/internal/device"
)

// advice resolves the advice for a cluster: a hand-written row for its code and
// technology, else what is composed of subject and condition. Who can act is
// told by the device where it says so (PrtAlertTrainingLevelTC).
func (j *judge) advice(c *cluster, lead *sighting, sub device.Subunit) device.Advice {
	a := j.resolve(c, lead, sub)
	if p := lead.part; p != "" && a.Part != "" {
		a.Part = device.Text(p)
	}
	for _, s := range c.seen {
		if s.who != "" && !s.stale && !s.past {
			a.Who = s.who
			break
		}
	}
	if lead.subject.Prefix == "marker-supply" && lead.condition.Stage > 0 && sub.Index == 0 {
		a.Steps = append([]string{"Read at the panel which supply is meant"}, a.Steps...)
		a.PhoneSteps++
	}
	if lead.text != "" && lead.condition.Nature == "unnamed" {
		a.Meaning = fmt.Sprintf("The device says: %q.", lead.text)
	}
	if a.Who == device.Nobody {
		a.Minutes, a.PhoneSteps = 0, 0
	}
	return a
}

// resolve finds the words for a condition on a device of this technology: c is
// what is known of it, s leads.
func (j *judge) resolve(c *cluster, s *sighting, sub device.Subunit) device.Advice {
	subject := j.spoken(s)
	code := s.keyword
	if subject != s.subject {
		// The condition in the words of the neutral subject.
		code = ""
		for _, suffix := range s.condition.Suffix {
			if known().terms[subject.Prefix+"-"+suffix] != nil {
				code = subject.Prefix + "-" + suffix
				break
			}
		}
	}
	words := j.filler(s, sub, true)
	switch {
	case jams[s.family] != "":
		code = jams[s.family] // where it stuck decides, not who said so
	case s.family == known().terms[ServiceDue].family && s.of != "" || s.maintenance(sub):
		code = ServiceDue
	case s.keyword == "unknown" && (s.text != "" || s.sev != report):
		code = "other" // it says something after all
	}
	st := j.situation(s, sub, j.place(code, c, sub))
	w := choose(code, st)
	if own := ofSupply(subject, st); own != nil {
		w = own
	}
	if w != nil {
		return compose(&words, w.Meaning, w.Causes, w.Steps, w.Phone, w.Part, w.Who, w.Minutes, w.Cautions)
	}
	k := s.condition
	if subject != s.subject {
		if own := known().condition(subject.Kind, k.Suffix[0]); own != nil {
			k = own
		}
	}
	if k.Who == string(device.Nobody) {
		return compose(&words, k.Meaning, k.Causes, k.Steps, k.Phone, k.Part, k.Who, k.Minutes, nil)
	}
	meaning := k.Meaning
	if works := stillPrints[subject.Path]; works != "" && !j.stopped && k.Nature != "low" {
		meaning += " " + works
	}
	return compose(&words, meaning, k.Causes, k.Steps, k.Phone, k.Part, k.Who, k.Minutes, slices.Concat(subject.Cautions, k.Cautions))
}

// stillPrints is said of what blocks something else than printing.
var stillPrints = map[string]string{"scan": "Printing works.", "fax": "Printing works.", "finish": "Printing works without it."}

// jams are the families of jams and the code that their advice is written for.
var jams = map[string]string{
	"media/jam": "media-jam", "tray/jam": "media-jam", "bin/jam": "media-jam", "document-feeder/jam": "scan-media-path-jam",
}

// onRoll reports that a part is a roll, or that the whole device takes nothing
// else. Thermal devices are used to rolls: their own rows say so.
func (j *judge) onRoll(sub device.Subunit) bool {
	if j.tech.class == "thermal" {
		return false
	}
	rolls := 0
	for i := range j.d.Trays {
		t := &j.d.Trays[i]
		if sub.Group == "input" && sub.Index == t.Index {
			return t.Kind == "continuousRoll"
		}
		if t.Kind == "continuousRoll" {
			rolls++
		}
	}
	return rolls > 0 && rolls == len(j.d.Trays)
}

func compose(words *filler, meaning string, causes, steps []string, phone *int, part, who string, minutes int, cautions []string) device.Advice {
	a := device.Advice{
		Meaning: words.fill(meaning), Causes: make([]string, 0, len(causes)), Steps: make([]string, 0, len(steps)),
		PhoneSteps: phoneSteps(phone, who, steps), Part: device.Text(words.fill(part)), Who: device.Who(who), Minutes: minutes,
	}
	for _, c := range causes {
		a.Causes = append(a.Causes, words.fill(c))
	}
	for _, s := range steps {
		a.Steps = append(a.Steps, upper(words.fill(s)))
	}
	a.Caution, _ = Caution(cautions) // the tests hold that every class of the tables exists
	return a
}

// phoneSteps is how many of the first steps can be done by phone: what the row
// says, else all that an untrained person can do, and none of what asks for
// nobody.
func phoneSteps(stated *int, who string, steps []string) int {
	switch {
	case stated != nil:
		return *stated
	case who == string(device.Untrained):
		return len(steps)
	}
	return 0
}

// makerFirst ends every caution.
const makerFirst = "The maker's documentation and qualified service come first."

func upper(s string) string {
	r, n := utf8.DecodeRuneInString(s)
	if n == 0 || r == utf8.RuneError {
		return s
	}
	u := unicode.ToUpper(r)
	if u == r {
		return s
	}
	return string(u) + s[n:]
}
