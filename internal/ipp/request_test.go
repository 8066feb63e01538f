package ipp

import (
	"bytes"
	"slices"
	"testing"

	goippreq "github.com/phin1x/go-ipp"
)

// The Get-Jobs request of RFC 8010 Appendix A.8, octet for octet.
func TestEncodeAppendixA8(t *testing.T) {
	r := request{operation: goippreq.OperationGetJobs, attrs: []attr{
		{goippreq.AttributeLimit, 50},
		{goippreq.AttributeRequestedAttributes, []string{"job-id", "job-name", "document-format"}},
	}}
	got, err := r.encode(version11, 123, "ipp://printer.example.com/ipp/print/pinetree")
	if err != nil {
		t.Fatal(err)
	}
	if want := appendixA(t)["A.8"]; !bytes.Equal(got, want) {
		t.Errorf("got  %x\nwant %x", got, want)
	}
}

func TestRequests(t *testing.T) {
	tests := []struct {
		name string
		r    request
		code uint16 // RFC 8011 section 5.4.15
		want []string
	}{
		{"Get-Printer-Attributes", getPrinterAttributes(printerAttributes), 0x000b,
			[]string{"attributes-charset", "attributes-natural-language", "printer-uri", "requesting-user-name", "requested-attributes"}},
		{"Get-Printer-Attributes without a list", getPrinterAttributes(nil), 0x000b,
			[]string{"attributes-charset", "attributes-natural-language", "printer-uri", "requesting-user-name"}},
		{"Get-Jobs", getJobs(jobAttributes), 0x000a,
			[]string{"attributes-charset", "attributes-natural-language", "printer-uri", "requesting-user-name", "limit", "requested-attributes", "which-jobs"}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			b, err := tt.r.encode(version20, 7, "ipp://192.0.2.1/ipp/print")
			if err != nil {
				t.Fatal(err)
			}
			m, err := Decode(b)
			if err != nil {
				t.Fatal(err)
			}
			if m.Code != tt.code || m.RequestID != 7 || m.Version != version20 || len(m.Groups) != 1 {
				t.Errorf("header %04x #%d %04x, %d groups", m.Code, m.RequestID, m.Version, len(m.Groups))
			}
			var names []string
			for _, a := range m.First(OperationGroup) {
				names = append(names, a.Name)
			}
			if !slices.Equal(names, tt.want) {
				t.Errorf("attributes %v, want %v", names, tt.want)
			}
		})
	}
	if slices.Contains(jobAttributes, jobName) || slices.Contains(jobAttributes, jobOwner) {
		t.Error("names and owners of jobs are asked for without being wanted")
	}
}
