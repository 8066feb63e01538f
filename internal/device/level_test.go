package device

import (
	"encoding/json"
	"testing"
)

// RFC 3805 section 6, prtMarkerSuppliesLevel, prtInputCurrentLevel and
// prtOutputRemainingCapacity: -1 no restriction, -2 unknown, -3 at least one
// unit. The percentage is level by capacity, for capacity > 0 and level >= 0.
func TestLevelFrom(t *testing.T) {
	tests := []struct {
		name            string
		level, capacity int64
		unit            string
		known           bool
		percent         float64
		reason          LevelReason
	}{
		{"other", -1, 100, "percent", false, 0, LevelUnlimited},
		{"unknown", -2, 100, "percent", false, 0, LevelUnknown},
		{"some left", -3, 100, "percent", false, 0, LevelSomeLeft},
		{"no such value", -4, 100, "percent", false, 0, LevelContradictory},
		{"empty", 0, 500, "sheets", true, 0, ""},
		{"part", 125, 500, "sheets", true, 25, ""},
		{"one decimal", 1, 3, "items", true, 33.3, ""},
		{"full", 500, 500, "sheets", true, 100, ""},
		{"above capacity", 501, 500, "sheets", false, 0, LevelContradictory},
		{"capacity 0", 0, 0, "sheets", false, 0, LevelContradictory},
		{"capacity unknown", 300, -2, "impressions", false, 0, LevelUnknown},
		{"capacity without restriction", 300, -1, "impressions", false, 0, LevelUnknown},
		{"percent needs no capacity", 45, -2, "percent", true, 45, ""},
		{"percent above a hundred", 145, -2, "percent", false, 0, LevelUnknown},
		{"capacity out of range", 45, -3, "sheets", false, 0, LevelContradictory},
		{"largest", 2147483647, 2147483647, "impressions", true, 100, ""},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			l := LevelFrom(tt.level, tt.capacity, tt.unit, Remaining)
			p, ok := l.Percent()
			if ok != tt.known || p != tt.percent || l.Reason() != tt.reason {
				t.Errorf("got %v %v %q, want %v %v %q", p, ok, l.Reason(), tt.percent, tt.known, tt.reason)
			}
		})
	}
}

func TestLevelZeroIsNotReported(t *testing.T) {
	var l Level
	if l.Known() || l.Reason() != LevelNotReported {
		t.Errorf("got known %v, reason %q", l.Known(), l.Reason())
	}
	if _, ok := l.Value(); ok {
		t.Error("a level that nobody reported has a value")
	}
}

func TestLevelJSON(t *testing.T) {
	tests := []struct {
		l    Level
		want string
	}{
		{KnownLevel(45, 100, Remaining), `{"known":true,"percent":45,"value":45,"capacity":100,"measures":"remaining"}`},
		{KnownLevel(0, 250, SpaceLeft), `{"known":true,"percent":0,"value":0,"capacity":250,"measures":"space-left"}`},
		{NoLevel(LevelNotReported), `{"known":false,"reason":"not-reported"}`},
		{LevelFrom(-3, 100, "sheets", Remaining), `{"known":false,"measures":"remaining","reason":"some-left"}`},
		{LevelFrom(300, -2, "impressions", Remaining), `{"known":false,"value":300,"measures":"remaining","reason":"unknown"}`},
	}
	for _, tt := range tests {
		got, err := json.Marshal(tt.l)
		if err != nil || string(got) != tt.want {
			t.Errorf("got %s (%v), want %s", got, err, tt.want)
		}
		var back Level
		if err := json.Unmarshal(got, &back); err != nil {
			t.Fatal(err)
		}
		again, _ := json.Marshal(back)
		if string(again) != tt.want {
			t.Errorf("read back: got %s, want %s", again, tt.want)
		}
	}
	if err := json.Unmarshal([]byte(`{"known":true,"percent":4}`), new(Level)); err == nil {
		t.Error("a known level without a value was accepted")
	}
}

// RFC 3805 section 2.2.13.2.2 page 21: 27 = unavailable because broken (3),
// critical (16), non-critical (8). The RFC 8011 rows are the equivalents named
// in its section 5.4.12.
func TestStatus(t *testing.T) {
	tests := []struct {
		code                           int64
		availability                   string
		nonCritical, critical, offline bool
		moving                         bool
	}{
		{0, "idle", false, false, false, false},
		{27, "broken", true, true, false, false},      // RFC 3805 page 21
		{19, "broken", false, true, false, false},     // RFC 8011 section 5.4.12, media-jam
		{17, "on-request", false, true, false, false}, // RFC 8011 section 5.4.12, media-needed
		{8, "idle", true, false, false, false},        // RFC 8011 section 5.4.12, media-low
		{98, "standby", false, false, true, true},     // by arithmetic
		{126, "busy", true, true, true, true},         // by arithmetic: every flag
		{5, "unknown", false, false, false, false},
	}
	for _, tt := range tests {
		s := StatusFrom(tt.code)
		if s.Availability() != tt.availability || s.NonCritical() != tt.nonCritical || s.Critical() != tt.critical ||
			s.Offline() != tt.offline || s.Moving() != tt.moving {
			t.Errorf("%d: got %v", tt.code, s.Words())
		}
		b, err := json.Marshal(s)
		if err != nil {
			t.Fatal(err)
		}
		var back Status
		if err := json.Unmarshal(b, &back); err != nil || back != s {
			t.Errorf("%d: %s read back as %v (%v)", tt.code, b, back, err)
		}
	}
	for _, code := range []int64{-1, 127, 1 << 40} {
		if StatusFrom(code).Reported() {
			t.Errorf("%d was taken for a status", code)
		}
	}
}

func TestClean(t *testing.T) {
	tests := []struct{ name, in, want string }{
		{"plain", "Tray 1", "Tray 1"},
		{"spaces folded", "  Tray \t\r\n 1 ", "Tray 1"},
		{"escape sequence", "\x1b[31mred\x1b[0m", "red"},
		{"title sequence", "a\x1b]0;owned\x07b", "ab"},
		{"lone escape", "a\x1bb", "ab"},
		{"unfinished sequence keeps the text", "\x1b]never ends", "]never ends"},
		{"C1 control", "a\u009b31mb", "a31mb"},
		{"bidi override", "abc\u202etxt.exe", "abctxt.exe"},
		{"zero width", "a\u200bb\ufeff", "ab"},
		{"invalid UTF-8", "a\xff\xfeb", "ab"},
		{"NUL", "a\x00b", "ab"},
		{"umlaut and CJK stay", "Einzug – 給紙", "Einzug – 給紙"},
		{"line separator", "a\u2028b", "a b"},
		{"only rubbish", "\x00\x1b \u202e", ""},
	}
	for _, tt := range tests {
		if got := Clean(tt.in); string(got) != tt.want {
			t.Errorf("%s: got %q, want %q", tt.name, got, tt.want)
		}
	}
	if got := CleanTo("añañ", 4); got != "aña" {
		t.Errorf("bound falls inside a rune: %q", got)
	}
}

func FuzzClean(f *testing.F) {
	for _, s := range []string{"a\x1b[31mb\u202e", "", " ", "Tray 1", " Tray 1", "Tray 1 ", "Tray  1", "~", "\x7f"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		got := CleanTo(s, 64)
		if len(got) > 64 {
			t.Errorf("%d bytes", len(got))
		}
		if again := CleanTo(string(got), 64); again != got {
			t.Errorf("not stable: %q then %q", got, again)
		}
		if long := CleanTo("\x00"+s, 64); long != got { // a text that is not clean takes the long way
			t.Errorf("%q, with a NUL before it %q", got, long)
		}
		for _, r := range string(got) {
			if r < 0x20 || (r >= 0x7f && r < 0xa0) || r == '\u202e' || r == 0xfffd && !containsReplacement(s) {
				t.Errorf("kept %U", r)
			}
		}
	})
}

func containsReplacement(s string) bool {
	for _, r := range s {
		if r == 0xfffd {
			return true
		}
	}
	return false
}

func TestTextJSON(t *testing.T) {
	b, err := json.Marshal([]Text{"", "x"})
	if err != nil || string(b) != `[null,"x"]` {
		t.Fatalf("got %s, %v", b, err)
	}
	var back []Text
	if err := json.Unmarshal(b, &back); err != nil || len(back) != 2 || back[0] != "" || back[1] != "x" {
		t.Errorf("read back %q, %v", back, err)
	}
}

// TestBinary: levels and statuses come back whole, what JSON leaves out
// included.
func TestBinary(t *testing.T) {
	for _, l := range []Level{
		{}, KnownLevel(0, 100, Remaining), KnownLevel(2500, 10000, SpaceLeft), KnownLevel(70, 50, Remaining), NoLevel(LevelSomeLeft),
		LevelFrom(300, -2, "impressions", Remaining), LevelFrom(1<<62, 1<<62, "", ""), KnownLevel(90, 100, SpaceLeft).Contradicted(),
	} {
		b, err := l.MarshalBinary()
		if err != nil {
			t.Fatal(err)
		}
		var back Level
		if err := back.UnmarshalBinary(b); err != nil || back != l {
			t.Errorf("%+v came back as %+v (%v)", l, back, err)
		}
		for n := range len(b) - len(l.reason) {
			if err := new(Level).UnmarshalBinary(b[:n]); err == nil {
				t.Errorf("%+v: %d of %d octets were taken for a level", l, n, len(b))
			}
		}
	}
	for code := int64(-1); code <= 127; code++ {
		s, back := StatusFrom(code), StatusFrom(5)
		b, err := s.MarshalBinary()
		if err != nil || back.UnmarshalBinary(b) != nil || back != s {
			t.Errorf("status %d came back as %v (%v)", code, back, err)
		}
	}
}
