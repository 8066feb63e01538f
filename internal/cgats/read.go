package cgats

import (
	"bytes"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
)

// Words of the format itself.
const (
	beginFormat = "BEGIN_DATA_FORMAT"
	endFormat   = "END_DATA_FORMAT"
	beginData   = "BEGIN_DATA"
	endData     = "END_DATA"
	countFields = "NUMBER_OF_FIELDS"
	countSets   = "NUMBER_OF_SETS"
	keywordWord = "KEYWORD" // declares a keyword of the writer's own
)

// Read reads a file. Fields and keywords are made capitals; they may be written
// otherwise. A later table without a list of fields has those of the table
// before.
func Read(r io.Reader) (*File, error) {
	src, err := io.ReadAll(io.LimitReader(r, maxSize+1))
	if err != nil {
		return nil, err
	}
	return Parse(src)
}

// Parse reads a file that is in memory.
func Parse(src []byte) (*File, error) {
	switch {
	case len(src) > maxSize:
		return nil, errorf(0, "more than %d MiB: this is no list of patches", maxSize>>20)
	case bytes.HasPrefix(src, []byte{0xff, 0xfe}), bytes.HasPrefix(src, []byte{0xfe, 0xff}):
		return nil, errorf(1, "the text is in UTF-16; save it as plain text or UTF-8")
	}
	src = bytes.TrimPrefix(src, []byte("\ufeff"))
	p := &parser{scanner: scanner{src: src, line: 1}}
	if err := p.file(); err != nil {
		return nil, err
	}
	return &p.out, nil
}

type parser struct {
	scanner
	out    File
	table  Table // the one that is being read
	fields int   // NUMBER_OF_FIELDS; -1: not said
	sets   int   // NUMBER_OF_SETS; -1: not said
	rows   int   // of all tables
	values int
	// begun: the table has its BEGIN_DATA_FORMAT.
	begun bool
}

func (p *parser) file() error {
	p.fresh()
	for n := 0; ; n++ {
		t, ok, err := p.next()
		if err != nil {
			return err
		}
		if !ok {
			break
		}
		if !t.first {
			return errorf(t.line, "%q stands where a keyword, %s or %s was expected", shorten(t.text), beginFormat, beginData)
		}
		if err := p.head(t, n == 0); err != nil {
			return err
		}
	}
	switch {
	case p.begun:
		return errorf(p.line, "the file ends before %s: was it cut short?", beginData)
	case len(p.out.Tables) == 0:
		return errorf(0, "no %s: this is no CGATS.17 text", beginData)
	}
	return nil
}

func (p *parser) fresh() {
	p.table, p.fields, p.sets, p.begun = Table{}, -1, -1, false
	if n := len(p.out.Tables); n > 0 {
		p.table.Fields = p.out.Tables[n-1].Fields
	}
}

// head takes one line outside of lists and data.
func (p *parser) head(t token, first bool) error {
	name := strings.ToUpper(t.text)
	switch {
	case t.quoted:
		return errorf(t.line, "a quoted text without a keyword before it")
	case name == beginFormat:
		return p.format(t.line)
	case name == beginData:
		return p.data(t.line)
	case name == endFormat, name == endData:
		return errorf(t.line, "%s without its beginning", name)
	}
	value, err := p.rest(t)
	if err != nil {
		return err
	}
	if value == "" && first {
		p.out.Identifier = t.text
	}
	if value == "" || name == keywordWord { // a later identifier, or a keyword that says nothing
		return nil
	}
	if len(p.table.Keywords) == maxKeywords {
		return errorf(t.line, "more than %d keywords", maxKeywords)
	}
	p.table.Keywords = append(p.table.Keywords, Keyword{name, value, t.line})
	switch name {
	case countFields:
		p.fields, err = count(value, maxFields, t.line, name)
	case countSets:
		p.sets, err = count(value, maxRows, t.line, name)
	}
	return err
}

// rest returns what stands behind a keyword on its line: one quoted text, or
// the words as they are.
func (p *parser) rest(t token) (string, error) {
	begin, end, words := -1, -1, 0
	only := ""
	for {
		was := p.scanner
		v, ok, err := p.next()
		if err != nil {
			return "", err
		}
		if !ok || v.line != t.line {
			p.scanner = was
			break
		}
		if words == 0 {
			begin = v.raw
		}
		only, end = v.text, v.end
		words++
	}
	switch {
	case words == 0:
		return "", nil
	case words == 1:
		return only, nil
	case end-begin > maxText:
		return "", errorf(t.line, "a value of %d bytes; at most %d are read", end-begin, maxText)
	}
	return strings.ReplaceAll(text(p.src[begin:end]), `"`, ""), nil
}

func count(value string, most, line int, name string) (int, error) {
	n, err := strconv.Atoi(value)
	switch {
	case err != nil || n < 0:
		return 0, errorf(line, "%s is %q, which is no number of things", name, shorten(value))
	case n > most:
		return 0, errorf(line, "%s is %d; at most %d are read", name, n, most)
	}
	return n, nil
}

// format reads the list of fields.
func (p *parser) format(line int) error {
	if p.begun {
		return errorf(line, "a second %s before %s", beginFormat, beginData)
	}
	p.begun, p.table.Fields = true, nil
	for {
		t, ok, err := p.next()
		if err != nil {
			return err
		}
		name := strings.ToUpper(t.text)
		switch {
		case !ok:
			return errorf(p.line, "the file ends before %s: was it cut short?", endFormat)
		case name == endFormat && !t.quoted:
			return p.checkFields(line)
		case name == beginData, name == endData, name == beginFormat:
			return errorf(t.line, "%s before %s", name, endFormat)
		case slices.Contains(p.table.Fields, name):
			return errorf(t.line, "the field %s is named twice", shorten(name))
		case len(p.table.Fields) == maxFields:
			return errorf(t.line, "more than %d fields", maxFields)
		}
		p.table.Fields = append(p.table.Fields, name)
	}
}

func (p *parser) checkFields(line int) error {
	switch n := len(p.table.Fields); {
	case n == 0:
		return errorf(line, "%s names no field", beginFormat)
	case p.fields >= 0 && n != p.fields:
		return errorf(line, "%s says %d, but %s are named", countFields, p.fields, things(n, "field"))
	}
	return nil
}

// data reads the rows. A row begins on a line of its own and may take several.
func (p *parser) data(line int) error {
	if len(p.out.Tables) == maxTables {
		return errorf(line, "more than %d tables", maxTables)
	}
	if len(p.table.Fields) == 0 {
		return errorf(line, "%s without %s before it: the columns have no names", beginData, beginFormat)
	}
	if err := p.checkFields(line); err != nil {
		return err
	}
	p.table.Line = line
	var row Row
	for {
		t, ok, err := p.next()
		if err != nil {
			return err
		}
		if !ok {
			return errorf(p.line, "the file ends before %s: was it cut short?", endData)
		}
		if !t.quoted && strings.EqualFold(t.text, endData) {
			break
		}
		if word := strings.ToUpper(t.text); !t.quoted && (word == beginData || word == beginFormat) {
			return errorf(t.line, "%s before %s", word, endData)
		}
		if err := p.value(&row, t); err != nil {
			return err
		}
	}
	if len(row.Values) > 0 {
		return errorf(row.Line, "%s names %d, and the set that begins here has %s", beginFormat, len(p.table.Fields), things(len(row.Values), "value"))
	}
	if n := len(p.table.Rows); p.sets >= 0 && n != p.sets {
		at := slices.IndexFunc(p.table.Keywords, func(k Keyword) bool { return k.Name == countSets })
		return errorf(p.table.Keywords[at].Line, "%s says %d, but the table has %d: export the file again, or correct the number", countSets, p.sets, n)
	}
	p.out.Tables = append(p.out.Tables, p.table)
	p.fresh()
	return nil
}

// value adds one value to the row, and the row to the table when it is full.
func (p *parser) value(row *Row, t token) error {
	fields := len(p.table.Fields)
	if len(row.Values) == 0 {
		if n := len(p.table.Rows); n > 0 && !t.first {
			return errorf(p.table.Rows[n-1].Line, "%s names %d, and the set that begins here has more values, or fewer: a name with spaces needs double quotes", beginFormat, fields)
		}
		row.Line = t.line
		row.Values = make([]string, 0, fields)
	}
	if p.values++; p.values > maxValues {
		return errorf(t.line, "more than %d values", maxValues)
	}
	row.Values = append(row.Values, t.text)
	if len(row.Values) < fields {
		return nil
	}
	if p.rows++; p.rows > maxRows {
		return errorf(t.line, "more than %d sets", maxRows)
	}
	p.table.Rows = append(p.table.Rows, *row)
	*row = Row{}
	return nil
}

func things(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return fmt.Sprintf("%d %ss", n, noun)
}
