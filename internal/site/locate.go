package site

import (
	"fmt"
	"regexp"
	"sort"
	"strings"

	"github.com/pelletier/go-toml/v2/unstable"
)

type position struct{ line, col int }

// positions maps the path of a table or value, such as
// site[0].credential[1].version, to where it stands in the file.
type positions map[string]position

// of returns the position of path or of the nearest thing around it.
func (p positions) of(path string) position {
	for {
		if at, ok := p[path]; ok {
			return at
		}
		cut := strings.LastIndexAny(path, ".[")
		if cut < 0 {
			return position{}
		}
		path = path[:cut]
	}
}

// key returns the position of the first value under a key that names no
// elements, such as site.targets.
func (p positions) key(key string) position {
	var first position
	for path, at := range p {
		if indices.ReplaceAllString(path, "") != key {
			continue
		}
		if first.line == 0 || at.line < first.line || at.line == first.line && at.col < first.col {
			first = at
		}
	}
	return first
}

var indices = regexp.MustCompile(`\[[0-9]+\]`)

// locator walks the expressions of a document.
type locator struct {
	parser unstable.Parser
	lines  []int          // offset of the start of each line
	counts map[string]int // array tables seen so far, by path
	found  positions
}

func locate(content []byte) positions {
	l := &locator{counts: map[string]int{}, found: positions{}, lines: []int{0}}
	for i, b := range content {
		if b == '\n' {
			l.lines = append(l.lines, i+1)
		}
	}
	l.parser.Reset(content)
	table := ""
	for l.parser.NextExpression() {
		e := l.parser.Expression()
		switch e.Kind {
		case unstable.Table, unstable.ArrayTable:
			table = l.table(e)
		case unstable.KeyValue:
			l.keyValue(table, e)
		}
	}
	return l.found
}

// table records a table header and returns its path. A part that names an
// array of tables means its latest element.
func (l *locator) table(e *unstable.Node) string {
	path := ""
	var at position
	it := e.Key()
	for it.Next() {
		n := it.Node()
		path = join(path, string(n.Data))
		if at.line == 0 {
			at = l.position(n)
		}
		if e.Kind == unstable.ArrayTable && it.IsLast() {
			l.counts[path]++
		}
		if c := l.counts[path]; c > 0 {
			path = fmt.Sprintf("%s[%d]", path, c-1)
		}
	}
	l.found[path] = at
	return path
}

func (l *locator) keyValue(table string, e *unstable.Node) {
	path := table
	var at position
	it := e.Key()
	for first := true; it.Next(); first = false {
		path = join(path, string(it.Node().Data))
		if first {
			at = l.position(it.Node())
		}
	}
	l.found[path] = at
	l.value(path, e.Value())
}

// value records the elements of a list and the keys of an inline table.
func (l *locator) value(path string, v *unstable.Node) {
	it := v.Children()
	switch v.Kind {
	case unstable.Array:
		for i := 0; it.Next(); i++ {
			n := it.Node()
			element := fmt.Sprintf("%s[%d]", path, i)
			if n.Raw.Length > 0 {
				l.found[element] = l.position(n)
			}
			l.value(element, n)
		}
	case unstable.InlineTable:
		for it.Next() {
			l.keyValue(path, it.Node())
		}
	}
}

func (l *locator) position(n *unstable.Node) position {
	offset := int(n.Raw.Offset)
	line := sort.SearchInts(l.lines, offset+1) // lines that start at or before the offset
	return position{line, offset - l.lines[line-1] + 1}
}

func join(path, part string) string {
	if path == "" {
		return part
	}
	return path + "." + part
}
