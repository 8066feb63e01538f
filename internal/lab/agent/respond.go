package agent

import "time"

// Versions on the wire (RFC 1157 section 4, RFC 3417, RFC 3412 section 6).
const (
	wireV1  = 0
	wireV2c = 1
	wireV3  = 3
)

// Responder turns requests into answers. It reuses memory between calls and
// belongs to one goroutine.
type Responder struct {
	pdu   pdu
	binds []byte
}

// Respond answers one datagram to host h. It returns nil when the datagram gets
// no answer: malformed, another community, or no request. The answer is
// appended to dst.
func (r *Responder) Respond(h *Host, datagram []byte, now time.Time, dst []byte) []byte {
	msg, rest, err := expect(datagram, tagSequence)
	if err != nil || len(rest) != 0 {
		return nil
	}
	version, body, err := readInt(msg)
	if err != nil {
		return nil
	}
	switch {
	case version == wireV1 && h.V1, version == wireV2c && h.V2c:
		return r.community(h, version, body, now, dst)
	case version == wireV3 && len(h.Users) > 0:
		return r.v3(h, datagram, body, now, dst)
	}
	return nil
}

func (r *Responder) community(h *Host, version int64, body []byte, now time.Time, dst []byte) []byte {
	community, body, err := expect(body, TagOctets)
	if err != nil || !h.knows(community) || r.pdu.decode(body) != nil {
		return nil
	}
	head := sizeInt(version) + sizeTLV(len(community))
	a, ok := r.pdu.perform(h, now, version == wireV1, MaxMessage-4-head, r.binds)
	r.binds = a.binds
	if !ok {
		return nil
	}
	dst = appendLength(append(dst, tagSequence), head+a.size())
	dst = appendTLV(appendInt(dst, version), TagOctets, community)
	return a.appendTo(dst)
}
