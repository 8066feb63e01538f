package device

import "testing"

func TestSpan(t *testing.T) {
	for s, want := range map[int64]string{
		0: "0 s", 119: "119 s", 120: "2 min", 7199: "119 min", 7200: "2 h", 172799: "47 h", 172800: "2 days", 864000: "10 days",
	} {
		if got := Span(s); got != want {
			t.Errorf("%d: %q, want %q", s, got, want)
		}
	}
}

func TestCounted(t *testing.T) {
	for n, want := range map[int64]string{0: "0 jobs wait", 1: "1 job waits", 2: "2 jobs wait", 1 << 40: "1099511627776 jobs wait"} {
		if got := Counted(n, "job waits", "jobs wait"); got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
}

func TestListed(t *testing.T) {
	type word string
	for _, c := range []struct {
		list []word
		want string
	}{{nil, ""}, {[]word{"one-sided"}, "one-sided"}, {[]word{"pdf", "text"}, "pdf, text"}} {
		if got := Listed(c.list); got != c.want {
			t.Errorf("%q: %q, want %q", c.list, got, c.want)
		}
	}
}

func TestSentence(t *testing.T) {
	for in, want := range map[string]string{"": "", "cyan": "Cyan", "Black": "Black", "überzug": "Überzug", "\xffa": "\xffa", "4 pt": "4 pt"} {
		if got := Sentence(in); got != want {
			t.Errorf("%q: %q, want %q", in, got, want)
		}
	}
}
