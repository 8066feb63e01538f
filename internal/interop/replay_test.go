package interop

import (
	"encoding/binary"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"net/netip"
	"sync"
	"testing"
)

// Operation identifiers and a status code of RFC 8011 sections 5.4.15 and B.1.
const (
	opGetJobs              = 0x000a
	opGetPrinterAttributes = 0x000b
)

// replay answers Get-Printer-Attributes with a recorded response and Get-Jobs
// with an empty list, whatever the path, and remembers which operations came.
type replay struct {
	mu         sync.Mutex
	response   []byte
	operations []uint16
}

// startReplay serves one recorded response over plain HTTP on a free port.
func startReplay(t *testing.T, response []byte) (*replay, netip.AddrPort) {
	t.Helper()
	at := net.JoinHostPort("127.0.0.1", portText(freeTCP(t)))
	return startReplayAt(t, at, response), addrPort(t, at)
}

func startReplayAt(t *testing.T, addr string, response []byte) *replay {
	t.Helper()
	l, err := net.Listen("tcp4", addr)
	if err != nil {
		t.Fatal(err)
	}
	r := &replay{response: response}
	s := httptest.NewUnstartedServer(r)
	_ = s.Listener.Close()
	s.Listener = l
	s.Start()
	t.Cleanup(s.Close)
	return r
}

func (r *replay) ServeHTTP(w http.ResponseWriter, req *http.Request) {
	body, err := io.ReadAll(io.LimitReader(req.Body, 1<<20))
	// version, operation and request id are eight bytes (RFC 8010 section 3.1.1).
	if err != nil || len(body) < 8 || req.Method != http.MethodPost {
		http.Error(w, "an IPP request is expected", http.StatusBadRequest)
		return
	}
	operation := binary.BigEndian.Uint16(body[2:4])
	r.mu.Lock()
	r.operations = append(r.operations, operation)
	r.mu.Unlock()
	w.Header().Set("Content-Type", "application/ipp")
	switch operation {
	case opGetPrinterAttributes:
		_, _ = w.Write(withRequestID(r.response, body[4:8]))
	case opGetJobs:
		_, _ = w.Write(withRequestID(noJobs, body[4:8]))
	default:
		http.Error(w, "this replay only knows operations that read", http.StatusNotImplemented)
	}
}

func (r *replay) asked() []uint16 {
	r.mu.Lock()
	defer r.mu.Unlock()
	return append([]uint16(nil), r.operations...)
}

// withRequestID puts the id of a request into bytes 4 to 8 of an answer.
func withRequestID(response, id []byte) []byte {
	answer := append([]byte(nil), response...)
	if len(answer) >= 8 {
		copy(answer[4:8], id)
	}
	return answer
}

// noJobs is a successful answer without jobs: version 2.0, successful-ok,
// request id, operation attributes, end (RFC 8010 section 3.1.1; the layout is
// that of its appendix A.2).
var noJobs = []byte("\x02\x00\x00\x00\x00\x00\x00\x00" +
	"\x01\x47\x00\x12attributes-charset\x00\x05utf-8" +
	"\x48\x00\x1battributes-natural-language\x00\x02en\x03")
