package lab

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"printround/internal/lab/agent"
)

// Misbehaviour is one named way of a device to be a bad host on the network.
// Options.Faults and Change take the names like those of faults.
type Misbehaviour struct {
	Name     string
	Protocol string // SNMP, SNMPv3, IPP, DNS-SD, or texts over SNMP and IPP
	Help     string
}

// Misbehaviours lists the ways to misbehave, by protocol.
func Misbehaviours() []Misbehaviour {
	out := make([]Misbehaviour, len(zoo))
	for i, m := range zoo {
		out[i] = m.Misbehaviour
	}
	return out
}

// misbehaviour is a row of the zoo.
type misbehaviour struct {
	Misbehaviour
	odd func(o *oddity)
}

// oddity is how one device misbehaves.
type oddity struct {
	names    []string
	snmp     *agent.Odd
	tree     func(h *agent.Host, t *agent.Tree, now time.Time) *agent.Tree
	ipp      oddIPP
	announce func(s *dnssd)
}

const (
	overSNMP  = "SNMP"
	overV3    = "SNMPv3"
	overIPP   = "IPP"
	overDNSSD = "DNS-SD"
	inText    = "texts over SNMP and IPP"
)

var zoo = slices.Concat(zooSNMP, zooTree, zooV3, zooText, zooIPP, zooDNSSD)

func misbehaviourByName(name string) (misbehaviour, bool) {
	i := slices.IndexFunc(zoo, func(m misbehaviour) bool { return m.Name == name })
	if i < 0 {
		return misbehaviour{}, false
	}
	return zoo[i], true
}

// misbehave makes a device odd.
func (d *machine) misbehave(m misbehaviour) error {
	fits, needed := true, ""
	switch m.Protocol {
	case overSNMP:
		fits, needed = slices.ContainsFunc(d.place.SNMP, func(v string) bool { return v != "3" }), "SNMP version 1 or 2c"
	case overV3:
		fits, needed = slices.Contains(d.place.SNMP, "3"), "SNMP version 3"
	case overIPP:
		fits, needed = hasIPP(d), "IPP"
	case overDNSSD:
		fits, needed = d.place.Announced, "to be announced over DNS-SD"
	}
	if !fits {
		return fmt.Errorf("device %s (%s) cannot have %s: it needs %s", d.place.Name, d.Kind, m.Name, needed)
	}
	// Two ways at a time would hide each other within a protocol.
	for _, old := range d.odd.names {
		if o, _ := misbehaviourByName(old); o.Protocol == m.Protocol {
			return fmt.Errorf("device %s: %s and %s do not go together", d.place.Name, old, m.Name)
		}
	}
	d.odd.names = append(d.odd.names, m.Name)
	m.odd(&d.odd)
	return nil
}

// zooNames are the names of the zoo.
func zooNames() (names []string) {
	for _, m := range zoo {
		names = append(names, m.Name)
	}
	return names
}

// showOdd lets the node's first machine misbehave over SNMP as it is meant to.
func (n *node) showOdd() {
	o := &n.machines[0].odd
	if o.tree != nil {
		n.host.Serve(o.tree(n.host, n.host.Tree(), time.Now()))
	}
	n.host.Misbehave(o.snmp)
}

// Texts that harm whoever shows them as they are, around the device's own.
var zooText = []misbehaviour{
	badText("text-invalid-utf8", "octets in names that are no UTF-8", func(s string) string { return "\xff\xfe" + s + "\xc3" }),
	badText("text-escapes", "terminal escape sequences in names", func(s string) string { return "\x1b[2J\x1b]0;gone\a" + s + "\u009b31m" }),
	badText("text-bidi", "marks in names that turn the direction of writing", func(s string) string { return "\u202e" + s + "\u2066" }),
	badText("text-html", "markup in names", func(s string) string { return "<script>alert(1)</script>" + s + `<img src=x onerror="alert(2)">` }),
	badText("text-formula", "names that a spreadsheet would calculate", func(s string) string { return `=HYPERLINK("http://192.0.2.1/","` + s + `")` }),
	badText("text-nul", "NUL octets in names", func(s string) string { return "\x00" + s[:len(s)/2] + "\x00" + s[len(s)/2:] }),
}

func badText(name, help string, bad func(string) string) misbehaviour {
	return misbehaviour{Misbehaviour{name, inText, help}, func(o *oddity) {
		o.tree = texts(bad)
		o.ipp.attributes = worded(bad)
	}}
}

// plainText reports whether octets are words for people and no code.
func plainText(b []byte) bool {
	s := string(b)
	return len(s) > 2 && strings.ContainsAny(s, "aeiouAEIOU 0123456789") &&
		strings.IndexFunc(s, func(r rune) bool { return r < ' ' || r == '\ufffd' }) < 0
}
