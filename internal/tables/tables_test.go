package tables

import (
	"reflect"
	"strings"
	"testing"
	"testing/fstest"
)

func data(files map[string]string) Data {
	m := fstest.MapFS{}
	for name, text := range files {
		m["data/"+name] = &fstest.MapFile{Data: []byte(text)}
	}
	return Data{m}
}

func TestRows(t *testing.T) {
	d := data(map[string]string{
		"good.tsv":  "# what it is\nkey\tvalue\na\t1\n# in between\nb\t\na\t2\n",
		"short.tsv": "key\tvalue\na\n",
		"other.tsv": "key\twords\na\t1\n",
		"gap.tsv":   "key\tvalue\n\na\t1\n",
	})
	got, err := d.Rows("good.tsv", "key", "value")
	if want := [][]string{{"a", "1"}, {"b", ""}, {"a", "2"}}; err != nil || !reflect.DeepEqual(got, want) {
		t.Errorf("%q, %v, want %q", got, err, want)
	}
	for name, says := range map[string]string{
		"short.tsv": "short.tsv:2: 1 fields, want 2", "other.tsv": "other.tsv:1: heading", "gap.tsv": "gap.tsv:2: 1 fields", "none.tsv": "none.tsv",
	} {
		if rows, err := d.Rows(name, "key", "value"); err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("%s: %q, %v, want %s", name, rows, err, says)
		}
	}
	if m, err := d.Keyed("good.tsv", "key", "value"); err == nil || !strings.Contains(err.Error(), `"a" occurs twice`) {
		t.Errorf("a key that occurs twice: %q, %v", m, err)
	}
}

func TestTOML(t *testing.T) {
	d := data(map[string]string{"good.toml": "name = \"a\"\n", "unknown.toml": "name = \"a\"\nnick = \"b\"\n", "bad.toml": "name = \n"})
	var v struct{ Name string }
	if err := d.TOML("good.toml", &v); err != nil || v.Name != "a" {
		t.Errorf("%+v, %v", v, err)
	}
	for _, name := range []string{"unknown.toml", "bad.toml", "none.toml"} {
		if err := d.TOML(name, &v); err == nil || !strings.Contains(err.Error(), name) {
			t.Errorf("%s: %v", name, err)
		}
	}
}
