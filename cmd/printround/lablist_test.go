package main

import (
	"fmt"
	"strings"
	"testing"

	"printround/internal/lab"
	"printround/internal/term"
)

// What the lab has is read on any terminal: no line is longer than it is wide,
// and no word is lost.
func TestLabListFits(t *testing.T) {
	l, err := lab.Start(t.Context(), lab.Options{NoMDNS: true})
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	text := func(width int) string {
		var b strings.Builder
		listLab(&b, l.Devices(), width)
		if err := listEverything(&b, width); err != nil {
			t.Fatal(err)
		}
		return b.String()
	}
	whole := text(0)
	for _, width := range []int{30, 40, 80, 104, 120, 200} {
		got := text(width)
		for _, line := range strings.Split(got, "\n") {
			if n := term.DisplayWidth(line); n > width {
				t.Errorf("%d cells on a terminal of %d: %q", n, width, line)
			}
		}
		// A long name may be broken, so what is compared is letters.
		squeeze := strings.NewReplacer(" ", "", "\n", "", ":", "", ";", "")
		letters := func(s string) string { return strings.ToLower(squeeze.Replace(s)) } // headings are capitals
		for _, line := range strings.Split(whole, "\n") {
			last := strings.TrimSpace(line[strings.LastIndex(line, "  ")+1:])
			if !strings.Contains(letters(got), letters(last)) {
				t.Errorf("at %d: %q is missing", width, last)
			}
		}
	}
	for _, d := range l.Devices() {
		for _, want := range []string{d.Name, d.Kind, d.Site, fmt.Sprint(d.Addr), labFinds(d)} {
			if !strings.Contains(whole, want) {
				t.Errorf("no %q", want)
			}
		}
	}
}
