package report

import (
	"bytes"
	"encoding/json"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"
)

// compiled returns the schema of one of our documents, read by a validator of
// JSON Schema 2020-12 with its formats checked. It knows all of them, since one
// refers to another.
func compiled(t testing.TB, name string) *jsonschema.Schema {
	t.Helper()
	c := jsonschema.NewCompiler()
	c.AssertFormat()
	ids := map[string]string{}
	for n := range schemaFiles {
		raw, ok := Schema(n)
		if !ok {
			t.Fatalf("no schema for %s", n)
		}
		doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(raw))
		if err != nil {
			t.Fatal(err)
		}
		ids[n] = doc.(map[string]any)["$id"].(string)
		if err := c.AddResource(ids[n], doc); err != nil {
			t.Fatal(err)
		}
	}
	s, err := c.Compile(ids[name])
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func validate(t testing.TB, s *jsonschema.Schema, doc []byte) error {
	t.Helper()
	v, err := jsonschema.UnmarshalJSON(bytes.NewReader(doc))
	if err != nil {
		t.Fatalf("no JSON: %v", err)
	}
	return s.Validate(v)
}

// noticesDrift changes a good document in ways that would break programs that
// read it; each change gets the document and a part of it.
func noticesDrift(t *testing.T, schema *jsonschema.Schema, good []byte, part func(doc map[string]any) map[string]any, changes map[string]func(doc, part map[string]any)) {
	t.Helper()
	if err := validate(t, schema, good); err != nil {
		t.Fatal(err)
	}
	for name, change := range changes {
		t.Run(name, func(t *testing.T) {
			var doc map[string]any
			if err := json.Unmarshal(good, &doc); err != nil {
				t.Fatal(err)
			}
			change(doc, part(doc))
			b, err := json.Marshal(doc)
			if err != nil {
				t.Fatal(err)
			}
			if validate(t, schema, b) == nil {
				t.Error("the schema accepts it")
			}
		})
	}
}
