package report

import (
	"bytes"
	"io"
	"testing"
)

// What tests of this package and those that see it from outside share.
var (
	CheckText    = checkText
	Golden       = golden
	Compiled     = compiled
	Validate     = validate
	NoticesDrift = noticesDrift
)

// Rendered is what one of the functions that write a document makes of it.
func Rendered[V any](t testing.TB, write func(io.Writer, V, Options) error, v V, o Options) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := write(&b, v, o); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}
