package snmp

import (
	"context"
	"net"
	"net/netip"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/gosnmp/gosnmp"

	"printround/internal/oid"
)

// agent is a small SNMP agent on loopback that can be made to misbehave. It
// encodes with the library and follows RFC 3416 section 4.2.
type agent struct {
	t         testing.TB
	conn      *net.UDPConn
	binds     []oid.VarBind // sorted
	community string
	v1Only    bool
	maxSize   int      // larger answers are cut or tooBig; 0: none
	maxNames  int      // requests with more names are tooBig; 0: none
	deaf      int      // requests larger than this are dropped; 0: none
	dropFirst int      // so many requests are dropped
	bad       oid.OID  // asking for what follows it is genErr with index
	genErr    bool     // everything is genErr without index
	v3        *v3Agent // nil: no SNMPv3
	// mangle makes the datagrams to send of an answer; nil: the answer.
	mangle func(req, resp *gosnmp.SnmpPacket) [][]byte

	mu       sync.Mutex
	requests []*gosnmp.SnmpPacket
}

// start serves until the test ends.
func (a *agent) start(t testing.TB) netip.AddrPort {
	t.Helper()
	conn, err := net.ListenUDP("udp4", &net.UDPAddr{IP: net.IPv4(127, 0, 0, 1)})
	if err != nil {
		t.Fatal(err)
	}
	a.t, a.conn = t, conn
	if a.community == "" {
		a.community = "public"
	}
	slices.SortFunc(a.binds, oid.ByName)
	done := make(chan struct{})
	go func() {
		defer close(done)
		a.serve()
	}()
	t.Cleanup(func() { conn.Close(); <-done })
	return conn.LocalAddr().(*net.UDPAddr).AddrPort()
}

func (a *agent) serve() {
	buf := make([]byte, 1<<16)
	for {
		n, from, err := a.conn.ReadFromUDPAddrPort(buf)
		if err != nil {
			return
		}
		if a.dropFirst > 0 {
			a.dropFirst--
			continue
		}
		if a.deaf > 0 && n > a.deaf {
			continue
		}
		for _, out := range a.respond(slices.Clone(buf[:n])) {
			_, _ = a.conn.WriteToUDPAddrPort(out, from)
		}
	}
}

func (a *agent) respond(datagram []byte) [][]byte {
	if datagram[4] == 3 || a.v3 != nil {
		if a.v3 == nil {
			return nil
		}
		return a.v3.respond(a, datagram)
	}
	req, err := (&gosnmp.GoSNMP{Version: gosnmp.Version2c}).SnmpDecodePacket(datagram)
	if err != nil || req.Community != a.community || a.v1Only && req.Version != gosnmp.Version1 {
		return nil
	}
	resp := a.answer(req)
	if a.mangle != nil {
		return a.mangle(req, resp)
	}
	return [][]byte{marshal(a.t, resp)}
}

func marshal(t testing.TB, p *gosnmp.SnmpPacket) []byte {
	b, err := p.MarshalMsg()
	if err != nil {
		t.Errorf("agent: %v", err)
	}
	return b
}

// answer makes the response PDU for a request.
func (a *agent) answer(req *gosnmp.SnmpPacket) *gosnmp.SnmpPacket {
	a.mu.Lock()
	a.requests = append(a.requests, req)
	a.mu.Unlock()
	resp := *req
	resp.PDUType, resp.Variables = gosnmp.GetResponse, nil
	fail := func(status gosnmp.SNMPError, index int) *gosnmp.SnmpPacket {
		resp.Error, resp.ErrorIndex, resp.Variables = status, uint8(index), req.Variables
		return &resp
	}
	if a.genErr {
		return fail(gosnmp.GenErr, 0)
	}
	if a.maxNames > 0 && len(req.Variables) > a.maxNames {
		return fail(gosnmp.TooBig, 0)
	}
	rows := [][]gosnmp.SnmpPDU{req.Variables}
	non := len(req.Variables)
	if req.PDUType == gosnmp.GetBulkRequest {
		non = min(int(req.NonRepeaters), non)
	}
	for i, v := range rows[0][:non] {
		vb := a.after(v.Name)
		if a.bad != nil && oid.MustParse(v.Name).Equal(a.bad) {
			return fail(gosnmp.GenErr, i+1)
		}
		if vb.Type == gosnmp.EndOfMibView && req.Version == gosnmp.Version1 {
			return fail(gosnmp.NoSuchName, i+1)
		}
		resp.Variables = append(resp.Variables, vb)
	}
	last := slices.Clone(req.Variables[non:])
	for range req.MaxRepetitions {
		for i := range last {
			last[i] = a.after(last[i].Name)
			resp.Variables = append(resp.Variables, last[i])
		}
	}
	return a.cut(req, &resp, fail)
}

// cut keeps an answer within maxSize: GetBulk answers lose their end, others
// become tooBig (RFC 3416 section 4.2.3 and 4.2.1).
func (a *agent) cut(req, resp *gosnmp.SnmpPacket, fail func(gosnmp.SNMPError, int) *gosnmp.SnmpPacket) *gosnmp.SnmpPacket {
	if a.maxSize == 0 {
		return resp
	}
	for size := func() int { return 40 + bindSize(resp.Variables) }; size() > a.maxSize; {
		if req.PDUType != gosnmp.GetBulkRequest || len(resp.Variables) == 1 {
			return fail(gosnmp.TooBig, 0)
		}
		resp.Variables = resp.Variables[:len(resp.Variables)-1]
	}
	return resp
}

func bindSize(vars []gosnmp.SnmpPDU) int {
	n := 0
	for _, v := range vars {
		vb, _ := binding(v)
		n += vb.Size()
	}
	return n
}

func (a *agent) after(name string) gosnmp.SnmpPDU {
	o := oid.MustParse(name)
	i, found := slices.BinarySearchFunc(a.binds, o, func(b oid.VarBind, o oid.OID) int { return b.Name.Compare(o) })
	if found {
		i++
	}
	if i == len(a.binds) {
		return gosnmp.SnmpPDU{Name: name, Type: gosnmp.EndOfMibView}
	}
	return library(a.binds[i])
}

// library converts a binding into the library's form.
func library(b oid.VarBind) gosnmp.SnmpPDU {
	v := gosnmp.SnmpPDU{Name: "." + b.Name.String(), Type: gosnmp.Asn1BER(b.Value.Kind)}
	switch b.Value.Kind {
	case oid.Integer:
		v.Value = int(b.Value.Num)
	case oid.Counter32, oid.Gauge32, oid.TimeTicks:
		v.Value = uint32(b.Value.Num)
	case oid.Counter64:
		v.Value = uint64(b.Value.Num)
	case oid.OctetString, oid.Opaque:
		v.Value = b.Value.Bytes
	case oid.ObjectID:
		v.Value = "." + b.Value.ID.String()
	case oid.IPAddress:
		a, _ := netip.AddrFromSlice(b.Value.Bytes)
		v.Value = a.String()
	}
	return v
}

func (a *agent) seen() []*gosnmp.SnmpPacket {
	a.mu.Lock()
	defer a.mu.Unlock()
	return slices.Clone(a.requests)
}

// v3Agent is the SNMPv3 side of an agent: one user, one engine (RFC 3414
// section 3.2).
type v3Agent struct {
	engine   string
	boots    uint32
	started  time.Time
	user     string
	auth     gosnmp.SnmpV3AuthProtocol
	authPass string
	priv     gosnmp.SnmpV3PrivProtocol
	privPass string
	flags    gosnmp.SnmpV3MsgFlags // level the user must have
	skew     uint32                // added to the clock in reports of discovery
	jump     uint32                // added to the clock with every report
	tamper   bool                  // flip a bit of the signed answers
	mute     bool                  // drop what cannot be decrypted
	counter  uint
	mu       sync.Mutex
}

func (v *v3Agent) params() *gosnmp.UsmSecurityParameters {
	p := &gosnmp.UsmSecurityParameters{UserName: v.user, AuthoritativeEngineID: v.engine,
		AuthenticationProtocol: v.auth, AuthenticationPassphrase: v.authPass,
		PrivacyProtocol: v.priv, PrivacyPassphrase: v.privPass,
		AuthoritativeEngineBoots: v.boots, AuthoritativeEngineTime: v.now()}
	_ = p.InitSecurityKeys()
	return p
}

func (v *v3Agent) now() uint32 { return uint32(time.Since(v.started) / time.Second) }

func (v *v3Agent) respond(a *agent, datagram []byte) [][]byte {
	v.mu.Lock()
	defer v.mu.Unlock()
	plain := &gosnmp.GoSNMP{Version: gosnmp.Version3, SecurityModel: gosnmp.UserSecurityModel,
		SecurityParameters: &gosnmp.UsmSecurityParameters{UserName: v.user}}
	h, err := parseV3(datagram)
	if err != nil {
		a.t.Errorf("agent: %v", err)
		return nil
	}
	switch {
	case h.engine != v.engine:
		return v.report(a, h, reportUnknownEngine, 0, v.skew)
	case h.user != v.user:
		return v.report(a, h, reportUnknownUser, 0, 0)
	case gosnmp.SnmpV3MsgFlags(h.flags)&gosnmp.AuthPriv != v.flags:
		return v.report(a, h, reportUnsupportedLevel, 0, 0)
	}
	codec := plain
	if v.flags != gosnmp.NoAuthNoPriv {
		codec = &gosnmp.GoSNMP{Version: gosnmp.Version3, SecurityModel: gosnmp.UserSecurityModel,
			MsgFlags: v.flags, SecurityParameters: v.params()}
		if _, err := codec.UnmarshalTrap(slices.Clone(datagram), false); err != nil {
			if v.mute {
				return nil
			}
			if v.rightDigest(datagram) {
				return v.report(a, h, reportDecryption, 0, 0)
			}
			return v.report(a, h, reportWrongDigest, 0, 0)
		}
		if h.boots != v.boots || h.clock+150 < v.now() || h.clock > v.now()+150 {
			return v.report(a, h, reportNotInTimeWindow, gosnmp.AuthNoPriv, 0)
		}
	}
	req, err := codec.SnmpDecodePacket(slices.Clone(datagram))
	if err != nil {
		return v.report(a, h, reportDecryption, 0, 0)
	}
	resp := a.answer(req)
	return [][]byte{v.pack(a, resp, v.flags, 0)}
}

// rightDigest reports whether the code of a message is right whatever is in it.
func (v *v3Agent) rightDigest(datagram []byte) bool {
	h, _ := parseV3(datagram)
	for _, p := range authProtocols {
		if p.id == v.auth {
			return (&usm{auth: p, params: v.params()}).verify(h, datagram)
		}
	}
	return false
}

func (v *v3Agent) report(a *agent, h *v3Header, object string, flags gosnmp.SnmpV3MsgFlags, skew uint32) [][]byte {
	v.counter++
	defer func() { v.started = v.started.Add(-time.Duration(v.jump) * time.Second) }()
	p := &gosnmp.SnmpPacket{Version: gosnmp.Version3, SecurityModel: gosnmp.UserSecurityModel, PDUType: gosnmp.Report,
		MsgID: h.msgID, ContextEngineID: v.engine,
		Variables: []gosnmp.SnmpPDU{{Name: "." + object, Type: gosnmp.Counter32, Value: uint32(v.counter)}}}
	return [][]byte{v.pack(a, p, flags, skew)}
}

func (v *v3Agent) pack(a *agent, p *gosnmp.SnmpPacket, flags gosnmp.SnmpV3MsgFlags, skew uint32) []byte {
	params := v.params()
	params.AuthoritativeEngineTime += skew
	p.MsgFlags, p.SecurityParameters = flags, params
	if err := params.InitPacket(p); err != nil {
		a.t.Errorf("agent: %v", err)
	}
	b := marshal(a.t, p)
	if v.tamper && flags&gosnmp.AuthNoPriv != 0 {
		b[len(b)-1] ^= 1
	}
	return b
}

// nowhere is a connection that swallows what is written.
type nowhere struct{ net.Conn }

func (nowhere) Write(b []byte) (int, error) { return len(b), nil }

// probe asks for what follows one name.
func (s *Session) probe(ctx context.Context, after oid.OID) (oid.VarBind, error) {
	a, err := s.Next(ctx, oid.Request{Names: []oid.Ask{{Name: after, Size: 16}}})
	if err != nil {
		return oid.VarBind{}, err
	}
	return a.Names[0], nil
}
