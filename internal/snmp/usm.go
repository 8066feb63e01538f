package snmp

import (
	"context"
	"crypto/hmac"
	"crypto/md5"
	"crypto/sha1"
	"crypto/sha256"
	"crypto/sha512"
	"crypto/subtle"
	"fmt"
	"hash"
	"strings"
	"time"

	"github.com/gosnmp/gosnmp"
)

// authProtocol is an authentication protocol of the user-based security model
// with its hash and the length of its code (RFC 3414 section 6, RFC 7860
// section 4.1).
type authProtocol struct {
	id     gosnmp.SnmpV3AuthProtocol
	hash   func() hash.Hash
	length int
}

var authProtocols = map[string]authProtocol{
	"MD5":    {gosnmp.MD5, md5.New, 12},
	"SHA":    {gosnmp.SHA, sha1.New, 12},
	"SHA224": {gosnmp.SHA224, sha256.New224, 16},
	"SHA256": {gosnmp.SHA256, sha256.New, 24},
	"SHA384": {gosnmp.SHA384, sha512.New384, 32},
	"SHA512": {gosnmp.SHA512, sha512.New, 48},
}

// privProtocols: DES (RFC 3414 section 8), AES (RFC 3826), and the longer AES
// keys in the two ways in use of making them.
var privProtocols = map[string]gosnmp.SnmpV3PrivProtocol{
	"DES": gosnmp.DES, "AES": gosnmp.AES, "AES192": gosnmp.AES192, "AES256": gosnmp.AES256,
	"AES192C": gosnmp.AES192C, "AES256C": gosnmp.AES256C,
}

// Limits of RFC 3414: the length of a user name (section 5, usmUserName) and
// of a passphrase (section 11.2).
const (
	maxUser       = 32
	minPassphrase = 8
)

// usm is the state of SNMPv3 in one session: the engine of the device and its
// clock, and the keys made for it.
type usm struct {
	cred    Credential
	auth    authProtocol
	params  *gosnmp.UsmSecurityParameters
	codec   *gosnmp.GoSNMP
	engine  string // snmpEngineID of the device; empty: not discovered yet
	boots   uint32
	clock   uint32 // snmpEngineTime at moment learnt
	learnt  time.Time
	resyncs int
}

func newUSM(c Credential) (*usm, error) {
	u := &usm{cred: c}
	if c.User == "" || len(c.User) > maxUser {
		return nil, fmt.Errorf("%w: a user name has 1 to %d octets", ErrCredential, maxUser)
	}
	if len(c.Context) > 32 {
		return nil, fmt.Errorf("%w: a context name has at most 32 octets", ErrCredential)
	}
	u.params = &gosnmp.UsmSecurityParameters{UserName: c.User, AuthenticationProtocol: gosnmp.NoAuth, PrivacyProtocol: gosnmp.NoPriv}
	flags := gosnmp.NoAuthNoPriv
	if c.AuthProtocol != "" {
		auth, ok := authProtocols[strings.ToUpper(c.AuthProtocol)]
		if !ok {
			return nil, fmt.Errorf("%w: no authentication protocol %q", ErrCredential, c.AuthProtocol)
		}
		if len(c.AuthPass.Reveal()) < minPassphrase {
			return nil, fmt.Errorf("%w: an authentication passphrase has at least %d octets", ErrCredential, minPassphrase)
		}
		u.auth, flags = auth, gosnmp.AuthNoPriv
		u.params.AuthenticationProtocol, u.params.AuthenticationPassphrase = auth.id, c.AuthPass.Reveal()
	}
	if c.PrivProtocol != "" {
		priv, ok := privProtocols[strings.ToUpper(c.PrivProtocol)]
		if !ok {
			return nil, fmt.Errorf("%w: no privacy protocol %q", ErrCredential, c.PrivProtocol)
		}
		if c.AuthProtocol == "" {
			return nil, fmt.Errorf("%w: privacy needs authentication", ErrCredential)
		}
		if len(c.PrivPass.Reveal()) < minPassphrase {
			return nil, fmt.Errorf("%w: a privacy passphrase has at least %d octets", ErrCredential, minPassphrase)
		}
		flags = gosnmp.AuthPriv
		u.params.PrivacyProtocol, u.params.PrivacyPassphrase = priv, c.PrivPass.Reveal()
	}
	u.codec = &gosnmp.GoSNMP{Version: gosnmp.Version3, SecurityModel: gosnmp.UserSecurityModel, MsgFlags: flags,
		SecurityParameters: u.params, ContextName: c.Context}
	return u, nil
}

// adopt takes over a device's engine and derives the keys for it.
func (u *usm) adopt(h *v3Header) error {
	u.boots, u.clock, u.learnt = h.boots, h.clock, time.Now()
	if u.engine == h.engine {
		return nil
	}
	u.engine = h.engine
	u.params.AuthoritativeEngineID = h.engine
	u.params.SecretKey, u.params.PrivacyKey = nil, nil
	u.codec.ContextEngineID = h.engine
	return u.params.InitSecurityKeys()
}

// encode makes the message for p. Its msgID is p's request-id.
func (u *usm) encode(p *pdu) ([]byte, error) {
	u.params.AuthoritativeEngineBoots = u.boots
	u.params.AuthoritativeEngineTime = u.clock + uint32(time.Since(u.learnt)/time.Second)
	u.codec.SetRequestID(p.id - 1)
	u.codec.SetMsgID(p.id - 1)
	if p.kind == getBulk {
		return u.codec.SnmpEncodePacket(p.kind, p.variables(), uint8(len(p.names)), uint32(p.reps))
	}
	return u.codec.SnmpEncodePacket(p.kind, p.variables(), 0, 0)
}

// discoveryMessage asks a device for its engine (RFC 3414 section 4).
func discoveryMessage(id uint32) ([]byte, error) {
	m := gosnmp.SnmpPacket{Version: gosnmp.Version3, MsgFlags: gosnmp.Reportable, SecurityModel: gosnmp.UserSecurityModel,
		SecurityParameters: &gosnmp.UsmSecurityParameters{}, PDUType: gosnmp.GetRequest, MsgID: id, RequestID: id}
	return m.MarshalMsg()
}

// discover learns the engine of the device.
func (s *Session) discover(ctx context.Context) error {
	w := &waiting{discovery: true}
	if err := s.begin(w, 1, &pdu{}); err != nil {
		return err
	}
	for {
		f, _, _, err := s.wait(ctx, w)
		if f != nil || err != nil {
			return err
		}
		if err := s.repeat(w, func(*flight) *pdu { return &pdu{} }); err != nil {
			return err
		}
	}
}

// Reports of RFC 3414 section 5 and RFC 3412 section 5, by the object that
// they carry.
const (
	reportUnsupportedLevel = "1.3.6.1.6.3.15.1.1.1.0"
	reportNotInTimeWindow  = "1.3.6.1.6.3.15.1.1.2.0"
	reportUnknownUser      = "1.3.6.1.6.3.15.1.1.3.0"
	reportUnknownEngine    = "1.3.6.1.6.3.15.1.1.4.0"
	reportWrongDigest      = "1.3.6.1.6.3.15.1.1.5.0"
	reportDecryption       = "1.3.6.1.6.3.15.1.1.6.0"
	reportUnknownContext   = "1.3.6.1.6.3.12.1.5.0"
)

var reportErrors = map[string]error{
	reportUnsupportedLevel: ErrUnsupportedLevel,
	reportUnknownUser:      ErrUnknownUser,
	reportWrongDigest:      ErrWrongDigest,
	reportDecryption:       ErrDecrypt,
	reportUnknownContext:   ErrUnknownContext,
}

// maxResyncs bounds how often a session follows a device's clock or engine.
const maxResyncs = 4

// acceptV3 matches an SNMPv3 message to a request. A response counts only at
// the security level that was asked for and with a right authentication code.
func (s *Session) acceptV3(w *waiting, datagram []byte) (*flight, *pdu, *reply, error) {
	h, err := parseV3(datagram)
	if err != nil {
		s.stats.Ignored++
		return nil, nil, nil, nil
	}
	f, p := w.match(h.msgID)
	if p == nil || len(h.engine) < 5 || len(h.engine) > 32 { // SnmpEngineID, RFC 3411 section 5
		s.stats.Ignored++
		return nil, nil, nil, nil
	}
	u := s.usm
	authentic := h.flags&flagAuth != 0 && u.auth.hash != nil && h.engine == u.engine && h.user == u.cred.User
	if authentic && !u.verify(h, datagram) {
		s.stats.Ignored++
		w.forged = true
		return nil, nil, nil, nil
	}
	if h.flags&flagAuth != 0 && !authentic {
		s.stats.Ignored++
		return nil, nil, nil, nil
	}
	r, err := decode(s.codec, datagram, &s.in)
	if err != nil {
		s.stats.Ignored++
		return nil, nil, nil, nil
	}
	if r.kind == gosnmp.Report {
		return s.report(w, h, f, p, r, authentic)
	}
	level := byte(u.codec.MsgFlags) & (flagAuth | flagPriv)
	w.weaker = w.weaker || !w.discovery && r.kind == gosnmp.GetResponse && level&^h.flags != 0
	if w.discovery || r.kind != gosnmp.GetResponse || h.flags&(flagAuth|flagPriv) != level || h.engine != u.engine || r.id != p.id {
		s.stats.Ignored++
		return nil, nil, nil, nil
	}
	if r.status == authorizationError && !s.settled { // RFC 3413 section 3.2
		return nil, nil, nil, ErrNotAllowed
	}
	return f, p, r, nil
}

// report acts on a report: the engine, or its clock, is learnt and the request
// is sent again; anything else says why the user is not let in.
func (s *Session) report(w *waiting, h *v3Header, f *flight, p *pdu, r *reply, authentic bool) (*flight, *pdu, *reply, error) {
	u := s.usm
	if len(r.binds) == 0 {
		s.stats.Ignored++
		return nil, nil, nil, nil
	}
	object := r.binds[0].Name.String()
	if w.discovery {
		// Some agents object to the empty user first, and still show their engine.
		return f, p, r, u.adopt(h)
	}
	switch object {
	case reportNotInTimeWindow:
		if u.auth.hash != nil && !authentic {
			s.stats.Ignored++
			return nil, nil, nil, nil
		}
	case reportUnknownEngine:
	default:
		if err, ok := reportErrors[object]; ok {
			return nil, nil, nil, err
		}
		return nil, nil, nil, ErrReport
	}
	if u.resyncs++; u.resyncs > maxResyncs {
		if object == reportUnknownEngine {
			return nil, nil, nil, ErrEngine
		}
		return nil, nil, nil, ErrNotInTimeWindow
	}
	s.stats.RoundTrips++
	if err := u.adopt(h); err != nil {
		return nil, nil, nil, fmt.Errorf("%w: %v", ErrCredential, err)
	}
	again := *p
	return nil, nil, nil, s.send(f, &again, false)
}

// verify checks the authentication code: the hash over the whole message with
// the code itself zero, cut to the length of the protocol (RFC 3414 sections
// 6.3.2 and 7.3.2, RFC 7860 section 4.2.2).
func (u *usm) verify(h *v3Header, datagram []byte) bool {
	code := datagram[h.code : h.code+h.codeLen]
	if len(code) != u.auth.length {
		return false
	}
	mac := hmac.New(u.auth.hash, u.params.SecretKey)
	mac.Write(datagram[:h.code])
	mac.Write(make([]byte, len(code)))
	mac.Write(datagram[h.code+h.codeLen:])
	return subtle.ConstantTimeCompare(mac.Sum(nil)[:u.auth.length], code) == 1
}
