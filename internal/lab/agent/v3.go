package agent

import (
	"bytes"
	"crypto/hmac"
	"time"
)

// Message flags and the security model (RFC 3412 section 6).
const (
	flagAuth       = 1
	flagPriv       = 2
	flagReportable = 4
	modelUSM       = 3

	timeWindow = 150 // seconds (RFC 3414 section 2.2.3)
)

// Last arcs of usmStats (RFC 3414 section 5).
const (
	unsupportedSecLevels = 1
	notInTimeWindows     = 2
	unknownUserNames     = 3
	unknownEngineIDs     = 4
	wrongDigests         = 5
	decryptionErrors     = 6
)

var (
	usmStats               = MustOID("1.3.6.1.6.3.15.1.1")
	snmpUnknownPDUHandlers = MustOID("1.3.6.1.6.3.11.2.1.3")
	snmpUnknownContexts    = MustOID("1.3.6.1.6.3.12.1.5")
)

// v3Message is a parsed request (RFC 3412 section 6, RFC 3414 section 2.4).
type v3Message struct {
	id, maxSize int64
	flags       byte
	engineID    []byte
	boots, time int64
	userName    []byte
	authParams  []byte
	privParams  []byte
	data        []byte // scoped PDU or encrypted octets
	encrypted   bool
	contextName []byte
	contextID   []byte
	own         []byte // the engine that answers
}

func parseV3(body []byte) (*v3Message, error) {
	m := &v3Message{}
	global, body, err := expect(body, tagSequence)
	if err != nil {
		return nil, err
	}
	if m.id, global, err = readInt(global); err != nil {
		return nil, err
	}
	if m.maxSize, global, err = readInt(global); err != nil {
		return nil, err
	}
	flags, global, err := expect(global, TagOctets)
	if err != nil || len(flags) != 1 {
		return nil, errMalformed
	}
	m.flags = flags[0]
	model, _, err := readInt(global)
	// RFC 3412 section 7.2: another model and privacy without authentication
	// are dropped, as is a size below 484.
	if err != nil || model != modelUSM || m.flags&(flagAuth|flagPriv) == flagPriv || m.maxSize < 484 {
		return nil, errMalformed
	}
	params, body, err := expect(body, TagOctets)
	if err != nil {
		return nil, err
	}
	if err := m.parseUSM(params); err != nil {
		return nil, err
	}
	m.encrypted = m.flags&flagPriv != 0
	m.data = body
	if m.encrypted {
		m.data, _, err = expect(body, TagOctets)
	}
	return m, err
}

func (m *v3Message) parseUSM(params []byte) error {
	p, _, err := expect(params, tagSequence)
	if err != nil {
		return err
	}
	if m.engineID, p, err = expect(p, TagOctets); err != nil {
		return err
	}
	if m.boots, p, err = readInt(p); err != nil {
		return err
	}
	if m.time, p, err = readInt(p); err != nil {
		return err
	}
	if m.userName, p, err = expect(p, TagOctets); err != nil {
		return err
	}
	if m.authParams, p, err = expect(p, TagOctets); err != nil {
		return err
	}
	m.privParams, _, err = expect(p, TagOctets)
	return err
}

// scope splits the scoped PDU (RFC 3412 section 6).
func (m *v3Message) scope(scoped []byte) (pdu []byte, err error) {
	s, _, err := expect(scoped, tagSequence)
	if err != nil {
		return nil, err
	}
	if m.contextID, s, err = expect(s, TagOctets); err != nil {
		return nil, err
	}
	m.contextName, s, err = expect(s, TagOctets)
	return s, err
}

// v3 answers one SNMPv3 message in the order of RFC 3414 section 3.2.
func (r *Responder) v3(h *Host, datagram, body []byte, now time.Time, dst []byte) []byte {
	m, err := parseV3(body)
	if err != nil {
		return nil
	}
	m.own = h.ownEngine()
	r.pdu.kind, r.pdu.id = 0, 0
	if !m.encrypted {
		if inner, err := m.scope(m.data); err != nil || r.pdu.decode(inner) != nil {
			return nil
		}
	}
	if !bytes.Equal(m.engineID, m.own) {
		return r.report(h, m, nil, usmStats, unknownEngineIDs, now, dst)
	}
	u := h.user(m.userName)
	if u == nil {
		return r.report(h, m, nil, usmStats, unknownUserNames, now, dst)
	}
	if object := h.reporting(); object != nil {
		return r.report(h, m, nil, object, 0, now, dst)
	}
	if m.flags&flagAuth != 0 && u.auth == nil || m.encrypted && u.priv == "" {
		return r.report(h, m, nil, usmStats, unsupportedSecLevels, now, dst)
	}
	if m.flags&flagAuth != 0 {
		if !u.authentic(m, datagram) {
			return r.report(h, m, nil, usmStats, wrongDigests, now, dst)
		}
		if !h.inTime(m, now) {
			return r.report(h, m, u, usmStats, notInTimeWindows, now, dst)
		}
	}
	if m.encrypted {
		scoped, err := u.decrypt(m.data, m.privParams, int32(m.boots), int32(m.time))
		if err != nil {
			return r.report(h, m, u, usmStats, decryptionErrors, now, dst)
		}
		inner, err := m.scope(scoped)
		if err != nil || r.pdu.decode(inner) != nil {
			return r.report(h, m, u, usmStats, decryptionErrors, now, dst)
		}
	}
	return r.v3Perform(h, m, u, now, dst)
}

func (r *Responder) v3Perform(h *Host, m *v3Message, u *User, now time.Time, dst []byte) []byte {
	if !bytes.Equal(m.contextID, h.EngineID) {
		return r.report(h, m, u, snmpUnknownPDUHandlers, 0, now, dst)
	}
	if len(m.contextName) != 0 {
		return r.report(h, m, u, snmpUnknownContexts, 0, now, dst)
	}
	limit := MaxMessage
	if m.maxSize < int64(limit) {
		limit = int(m.maxSize)
	}
	overhead := 96 + len(h.EngineID)*2 + len(u.Name) // headers, digest, salt, padding
	a, ok := r.pdu.perform(h, now, false, limit-overhead, r.binds)
	r.binds = a.binds
	if !ok {
		return nil
	}
	if needed := u.level(); m.flags&needed != needed && a.status == noError {
		// A user is answered at its own level only (RFC 3415 section 3.2).
		a.status, a.index, a.binds = errAuthorization, 0, a.binds[:0]
	}
	return seal(h, m, u, h.weakened(m.flags&(flagAuth|flagPriv)), a.appendTo(nil), now, dst)
}

func (u *User) level() byte {
	switch {
	case u.priv != "":
		return flagAuth | flagPriv
	case u.auth != nil:
		return flagAuth
	}
	return 0
}

func (h *Host) user(name []byte) *User {
	for _, u := range h.Users {
		if u.Name == string(name) {
			return u
		}
	}
	return nil
}

// inTime is the time window check of RFC 3414 section 3.2 step 7a.
func (h *Host) inTime(m *v3Message, now time.Time) bool {
	diff := m.time - int64(h.engineTime(now))
	return m.boots == int64(h.engineBoots()) && h.engineBoots() != 1<<31-1 && diff <= timeWindow && diff >= -timeWindow
}

func (h *Host) engineTime(now time.Time) int32 {
	return int32(int64(now.Sub(h.booted())/time.Second) + h.jumped())
}

// authentic checks the digest of a message, which is computed with its own
// field zeroed (RFC 3414 section 6.3.2).
func (u *User) authentic(m *v3Message, datagram []byte) bool {
	if len(m.authParams) != u.auth.mac {
		return false
	}
	whole := append([]byte(nil), datagram...)
	// authParams is a slice of datagram: the capacities tell where it begins.
	at := cap(datagram) - cap(m.authParams)
	clear(whole[at : at+u.auth.mac])
	return hmac.Equal(u.mac(whole), m.authParams)
}

// report answers with one counter (RFC 3412 section 7.1.3c, RFC 3414 section
// 3.2). It goes out authenticated only when a user is given.
func (r *Responder) report(h *Host, m *v3Message, u *User, object OID, arc int, now time.Time, dst []byte) []byte {
	name := object.With(0)
	count := uint32(1)
	if arc != 0 {
		name = object.With(uint32(arc), 0)
		count = h.usmStats[arc].Add(1)
	}
	if m.flags&flagReportable == 0 {
		return nil
	}
	a := answer{kind: pduReport, id: r.pdu.id}
	a.binds = appendVarBind(nil, name, Counter32(count))
	var flags byte
	if u != nil && u.auth != nil {
		flags = flagAuth
	}
	return seal(h, m, u, flags, a.appendTo(nil), now, dst)
}

// seal wraps a PDU in a message of the given level.
func seal(h *Host, m *v3Message, u *User, flags byte, inner []byte, now time.Time, dst []byte) []byte {
	scoped := appendTLV(nil, TagOctets, m.own)
	scoped = appendTLV(scoped, TagOctets, m.contextName)
	data := appendTLV(nil, tagSequence, append(scoped, inner...))
	engineTime := h.engineTime(now)
	var mac, salt []byte
	if flags&flagAuth != 0 {
		mac = make([]byte, u.auth.mac)
	}
	if flags&flagPriv != 0 {
		sealed, params, err := u.encrypt(data, h.engineBoots(), engineTime)
		if err != nil {
			return nil
		}
		data, salt = appendTLV(nil, TagOctets, sealed), params
	}
	usm := appendTLV(nil, TagOctets, m.own)
	usm = appendInt(appendInt(usm, int64(h.engineBoots())), int64(engineTime))
	usm = appendTLV(usm, TagOctets, m.userName)
	usm = appendTLV(usm, TagOctets, mac)
	afterMAC := sizeTLV(len(salt)) + len(data)
	usm = appendTLV(usm, TagOctets, salt)

	global := appendInt(appendInt(nil, m.id), MaxMessage)
	global = appendTLV(global, TagOctets, []byte{flags})
	global = appendInt(global, modelUSM)
	body := appendTLV(appendInt(nil, wireV3), tagSequence, global)
	body = appendTLV(body, TagOctets, appendTLV(nil, tagSequence, usm))
	body = append(body, data...)
	start := len(dst)
	dst = appendTLV(dst, tagSequence, body)
	if mac != nil {
		end := len(dst) - afterMAC
		copy(dst[end-len(mac):end], u.mac(dst[start:]))
	}
	return dst
}
