package act

import (
	"errors"
	"net/http"
	"slices"
	"testing"

	"github.com/OpenPrinting/goipp"
)

// Cancel-Job is sent once, whatever comes of it, and each outcome can be told
// apart (RFC 8011 section 4.3.3 and appendix B).
func TestCancel(t *testing.T) {
	for name, c := range map[string]struct {
		answer func(*box) func(http.ResponseWriter, *goipp.Message)
		is     func(error) bool
	}{
		"done":      {nil, func(err error) bool { return err == nil }},
		"not there": {func(b *box) func(http.ResponseWriter, *goipp.Message) { return b.refuse(goipp.StatusErrorNotFound) }, func(err error) bool { return errors.Is(err, ErrNoSuchJob) }},
		"forgotten": {func(b *box) func(http.ResponseWriter, *goipp.Message) { return b.refuse(goipp.StatusErrorGone) }, func(err error) bool { return errors.Is(err, ErrNoSuchJob) }},
		"ended":     {func(b *box) func(http.ResponseWriter, *goipp.Message) { return b.refuse(goipp.StatusErrorNotPossible) }, NotPossible},
		"not its owner": {func(b *box) func(http.ResponseWriter, *goipp.Message) {
			return b.refuse(goipp.StatusErrorNotAuthorized)
		}, NotAllowed},
		"not known": {func(b *box) func(http.ResponseWriter, *goipp.Message) {
			return b.refuse(goipp.StatusErrorNotAuthenticated)
		}, NotAllowed},
		"forbidden": {func(*box) func(http.ResponseWriter, *goipp.Message) {
			return func(w http.ResponseWriter, _ *goipp.Message) { w.WriteHeader(http.StatusForbidden) }
		}, NotAllowed},
		"password wanted": {func(*box) func(http.ResponseWriter, *goipp.Message) {
			return func(w http.ResponseWriter, _ *goipp.Message) { w.WriteHeader(http.StatusUnauthorized) }
		}, NotAllowed},
		"broken": {func(b *box) func(http.ResponseWriter, *goipp.Message) { return b.refuse(goipp.StatusErrorInternal) }, func(err error) bool {
			var r *Refusal
			return errors.As(err, &r) && !NotAllowed(err) && !NotPossible(err)
		}},
		"connection lost": {func(*box) func(http.ResponseWriter, *goipp.Message) { return hangUp }, Uncertain},
	} {
		t.Run(name, func(t *testing.T) {
			b := &box{attrs: operations(goipp.OpCancelJob), answer: map[goipp.Op]func(http.ResponseWriter, *goipp.Message){}}
			if c.answer != nil {
				b.answer[goipp.OpCancelJob] = c.answer(b)
			}
			err := opened(t, b).Cancel(t.Context(), 4711)
			if !c.is(err) {
				t.Errorf("got %v", err)
			}
			b.mu.Lock()
			defer b.mu.Unlock()
			if !slices.Equal(b.ops, []goipp.Op{goipp.OpCancelJob}) {
				t.Errorf("sent %v, want Cancel-Job once", b.ops)
			}
			if len(b.last.Operation) < 5 || b.last.Operation[3].Name != "job-id" || b.last.Operation[3].Values[0].V != goipp.Integer(4711) {
				t.Errorf("asked %v", b.last.Operation)
			}
		})
	}
}

func TestCanCancel(t *testing.T) {
	for want, attrs := range map[bool]goipp.Attributes{true: operations(goipp.OpCancelJob), false: operations(goipp.OpPrintJob)} {
		if got := opened(t, &box{attrs: attrs}).CanCancel(); got != want {
			t.Errorf("%v: %v", attrs[1].Values, got)
		}
	}
	if !opened(t, &box{attrs: operations()[:1]}).CanCancel() {
		t.Error("a printer that lists nothing has what RFC 8011 requires")
	}
}

func TestIdentifyActions(t *testing.T) {
	words := func(list ...string) goipp.Attributes {
		a := goipp.Attribute{Name: "identify-actions-supported"}
		for _, w := range list {
			a.Values.Add(goipp.TagKeyword, goipp.String(w))
		}
		return append(operations(goipp.OpIdentifyPrinter), a)
	}
	for name, c := range map[string]struct {
		attrs goipp.Attributes
		want  []string
	}{
		"not offered":        {operations(goipp.OpPrintJob), nil},
		"its own way":        {operations(goipp.OpIdentifyPrinter), []string{}},
		"known ones, sorted": {words("speak", "display", "flash", "explode"), []string{"flash", "display"}},
	} {
		t.Run(name, func(t *testing.T) {
			b := &box{attrs: c.attrs}
			p := opened(t, b)
			got, err := p.IdentifyActions(t.Context())
			if err != nil || !slices.Equal(got, c.want) || (got == nil) != (c.want == nil) {
				t.Fatalf("%v, %v; want %v", got, err, c.want)
			}
			if len(b.ops) > 0 {
				t.Errorf("asking sent %v", b.ops)
			}
			if c.want == nil {
				return
			}
			if err := p.Identify(t.Context(), got, "here"); err != nil {
				t.Fatal(err)
			}
			named, message := false, false
			for _, a := range b.last.Operation {
				named, message = named || a.Name == "identify-actions", message || a.Name == "message"
			}
			if !slices.Equal(b.ops, []goipp.Op{goipp.OpIdentifyPrinter}) || named != (len(got) > 0) || message != slices.Contains(got, "display") {
				t.Errorf("sent %v: %v", b.ops, b.last.Operation)
			}
		})
	}
}
