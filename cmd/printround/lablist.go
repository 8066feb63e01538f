package main

import (
	"bufio"
	"fmt"
	"io"
	"maps"
	"slices"
	"strconv"
	"strings"

	"printround/internal/lab"
	"printround/internal/term"
)

// listEverything prints what --fault takes: faults, then the ways to misbehave
// by protocol.
func listEverything(w io.Writer, width int) error {
	out := bufio.NewWriter(w)
	all := lab.Misbehaviours()
	paragraph(out, fmt.Sprintf("%d faults and %d misbehaviours for --fault DEVICE=NAME; several for one device are joined by commas.", len(lab.FaultNames()), len(all)), width)
	listFaults(out, width)
	for i := 0; i < len(all); {
		protocol := all[i].Protocol
		var l listing
		for ; i < len(all) && all[i].Protocol == protocol; i++ {
			l.rows = append(l.rows, []string{all[i].Name, all[i].Help})
		}
		fmt.Fprintln(out)
		paragraph(out, fmt.Sprintf("Misbehaviours, %s:", protocol), width)
		l.write(out, width)
	}
	return out.Flush()
}

func listFaults(w io.Writer, width int) {
	fmt.Fprintln(w, "\nConditions for --fault:")
	faults := lab.FaultNames()
	var l listing
	for _, name := range slices.Sorted(maps.Keys(faults)) {
		l.rows = append(l.rows, []string{name, faults[name]})
	}
	l.write(w, width)
}

// listLab prints the devices of the lab by site. Ports that all of them share
// are not repeated.
func listLab(w io.Writer, devices []lab.Device, width int) {
	_, _, shared := sharedPorts(devices)
	l := listing{head: []string{"name", "kind", "address", "SNMP", "IPP", "to be found:"}}
	for i, d := range devices {
		if i == 0 || d.Site != devices[i-1].Site {
			l.rows = append(l.rows, []string{d.Site})
		}
		addrs := make([]string, len(d.Addrs))
		for i, a := range d.Addrs {
			addrs[i] = a.String()
		}
		snmp, ipp := "-", "-"
		if d.SNMPPort != 0 && d.SNMP != "" {
			snmp = "v" + d.SNMP + portWords(d.SNMPPort, shared)
		}
		if d.IPPPort != 0 {
			ipp = "yes" + portWords(d.IPPPort, shared)
		}
		l.rows = append(l.rows, []string{d.Name, d.Kind, strings.Join(addrs, " "), snmp, ipp, labFinds(d)})
	}
	l.write(w, width)
}

func portWords(port int, shared bool) string {
	if shared {
		return ""
	}
	return ", port " + strconv.Itoa(port)
}

func labFinds(d lab.Device) string {
	switch {
	case d.Silent:
		return "switched off: no answer"
	case d.Queue:
		return "a queue that a server shares, no device"
	case !d.Printer:
		return "no printer: not to be listed"
	case len(d.Conditions) == 0:
		return "nothing"
	}
	return strings.Join(d.Conditions, ", ")
}

// listing is rows in columns. A row of one cell is a heading.
type listing struct {
	head []string // names of the columns, as in a sentence; empty: none
	rows [][]string
}

const (
	listingIndent = "  "
	listingGap    = "  "
	leastLast     = 24 // cells that the last column needs to stand beside the others
)

// write breaks the last column where a terminal of so many cells ends. Where
// that leaves it too little, each row is a paragraph instead, with the names of
// its columns. A width of 0 has no end.
func (l listing) write(w io.Writer, width int) {
	widths := l.widths()
	before := len(listingIndent)
	for _, n := range widths {
		before += n + len(listingGap)
	}
	wide := width <= 0 || width-before >= leastLast
	if wide && len(l.head) > 0 {
		head := make([]string, len(l.head))
		for i, name := range l.head {
			head[i] = strings.ToUpper(strings.TrimSuffix(name, ":"))
		}
		l.line(w, head, widths, before, width)
	}
	for _, row := range l.rows {
		switch {
		case len(row) == 1:
			fmt.Fprintln(w, row[0])
		case wide:
			l.line(w, row, widths, before, width)
		default:
			hang(w, listingIndent, 3*len(listingIndent), l.sentence(row), width)
		}
	}
}

// widths are those of all columns but the last.
func (l listing) widths() []int {
	var out []int
	for _, row := range append([][]string{l.head}, l.rows...) {
		for i := range len(row) - 1 {
			if i == len(out) {
				out = append(out, 0)
			}
			out[i] = max(out[i], term.DisplayWidth(row[i]))
		}
	}
	return out
}

func (l listing) line(w io.Writer, row []string, widths []int, before, width int) {
	lead := listingIndent
	for i, n := range widths {
		lead += row[i] + strings.Repeat(" ", n-term.DisplayWidth(row[i])) + listingGap
	}
	hang(w, lead, before, row[len(row)-1], width)
}

// sentence puts the cells of a row one after the other, with the names of the
// columns before all but the first two, which speak for themselves.
func (l listing) sentence(row []string) string {
	parts := slices.Clone(row[1:])
	for i := 1; i < len(parts) && len(l.head) > 0; i++ {
		parts[i] = l.head[i+1] + " " + parts[i]
	}
	return row[0] + ": " + strings.Join(parts, "; ")
}

// hang writes text after lead, its further lines indented.
func hang(w io.Writer, lead string, indent int, text string, width int) {
	lines := []string{text}
	if room := width - indent; width > 0 {
		lines = term.Wrap(text, max(room, 8), len(text)+1, "")
	}
	fmt.Fprintln(w, lead+lines[0])
	for _, line := range lines[1:] {
		fmt.Fprintln(w, strings.Repeat(" ", indent)+line)
	}
}

func paragraph(w io.Writer, text string, width int) { hang(w, "", 0, text, width) }
