package cgats

import (
	"bytes"
	"strings"
	"unicode/utf8"
)

// token is one word or one quoted text.
type token struct {
	text   string
	quoted bool
	line   int
	first  bool // the first of its line
	raw    int  // where it begins
	end    int  // where it ends
}

// scanner splits a file into tokens: words between white space, texts in
// double quotes on one line, no comments.
type scanner struct {
	src  []byte
	at   int
	line int
	used bool // the line has a token already
}

// next returns the next token; ok is false at the end.
func (s *scanner) next() (t token, ok bool, err error) {
	for s.at < len(s.src) {
		switch c := s.src[s.at]; {
		case c == '\n' || c == '\r':
			s.newline()
		case c == ' ' || c == '\t' || c == '\f' || c == '\v':
			s.at++
		case c == 0:
			return token{}, false, errorf(s.line, "an octet of 0: this is no text, or not in UTF-8; save it as plain text")
		case c == '#':
			s.comment()
		case c == '"':
			t, err = s.quoted()
			return t, err == nil, err
		default:
			t, err = s.word()
			return t, err == nil, err
		}
	}
	return token{}, false, nil
}

// newline takes LF, CR LF or CR.
func (s *scanner) newline() {
	if s.src[s.at] == '\r' && s.at+1 < len(s.src) && s.src[s.at+1] == '\n' {
		s.at++
	}
	s.at++
	s.line++
	s.used = false
}

// comment skips to the end of the line.
func (s *scanner) comment() {
	if n := bytes.IndexAny(s.src[s.at:], "\r\n"); n >= 0 {
		s.at += n
		return
	}
	s.at = len(s.src)
}

// quoted takes a text in double quotes; two of them inside are one.
func (s *scanner) quoted() (token, error) {
	begin := s.at + 1
	for end := begin; ; end++ {
		n := bytes.IndexAny(s.src[end:], "\"\r\n")
		if n < 0 || s.src[end+n] != '"' {
			return token{}, errorf(s.line, "a double quote that is not closed on its line")
		}
		if end += n; end+1 < len(s.src) && s.src[end+1] == '"' {
			end++
			continue
		}
		t, err := s.take(begin, end, end+1, true)
		t.text = strings.ReplaceAll(t.text, `""`, `"`)
		return t, err
	}
}

func (s *scanner) word() (token, error) {
	n := bytes.IndexAny(s.src[s.at:], " \t\f\v\r\n\x00")
	if n < 0 {
		n = len(s.src) - s.at
	}
	return s.take(s.at, s.at+n, s.at+n, false)
}

func (s *scanner) take(begin, end, next int, quoted bool) (token, error) {
	if end-begin > maxText {
		return token{}, errorf(s.line, "a value of %d bytes; at most %d are read", end-begin, maxText)
	}
	t := token{text: text(s.src[begin:end]), quoted: quoted, line: s.line, first: !s.used, raw: s.at, end: next}
	s.at, s.used = next, true
	return t, nil
}

// text takes octets for UTF-8, and for Latin-1 where they are not.
func text(b []byte) string {
	if utf8.Valid(b) {
		return string(b)
	}
	r := make([]rune, len(b))
	for i, c := range b {
		r[i] = rune(c)
	}
	return string(r)
}
