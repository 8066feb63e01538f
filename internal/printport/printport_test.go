package printport

import "testing"

func TestRaw(t *testing.T) {
	for port, want := range map[uint16]bool{
		515:  true,                         // printer, RFC 1179 section 3.1
		9100: true, 9101: true, 9102: true, // common practice, no source
		631: false, 80: false, 443: false, 514: false, 516: false, // 631: RFC 8010 section 4
		9099: false, 9103: false, 0: false, 65535: false,
	} {
		if Raw(port) != want {
			t.Errorf("Raw(%d) = %v", port, !want)
		}
	}
}
