package snmp

import (
	"context"
	"encoding/hex"
	"errors"
	"strings"
	"testing"
	"time"

	"github.com/gosnmp/gosnmp"

	"printround/internal/mib"
)

const testEngine = "\x80\x00\x1f\x88\x04lab-agent-7"

// v3Pair makes a user as agent and reader know it.
func v3Pair(auth, priv string) (*v3Agent, Credential) {
	a := &v3Agent{engine: testEngine, boots: 7, started: time.Now().Add(-time.Hour), user: "reader", auth: gosnmp.NoAuth, priv: gosnmp.NoPriv}
	c := Credential{Label: "secure", Version: V3, User: "reader"}
	if auth != "" {
		a.auth, a.authPass, a.flags = authProtocols[auth].id, "maplesyrup", gosnmp.AuthNoPriv
		c.AuthProtocol, c.AuthPass = auth, "maplesyrup"
	}
	if priv != "" {
		a.priv, a.privPass, a.flags = privProtocols[priv], "pancakes-with-it", gosnmp.AuthPriv
		c.PrivProtocol, c.PrivPass = priv, "pancakes-with-it"
	}
	return a, c
}

// Every protocol and level reads the whole device.
func TestV3Levels(t *testing.T) {
	for _, p := range []string{" ", "MD5 ", "SHA ", "SHA224 ", "SHA256 ", "SHA384 ", "SHA512 ", "MD5 DES", "SHA AES", "SHA DES", "SHA256 AES192", "SHA512 AES256", "SHA AES256C", "SHA256 AES192C"} {
		auth, priv, _ := strings.Cut(p, " ")
		t.Run(p, func(t *testing.T) {
			v3, cred := v3Pair(auth, priv)
			binds := fullDevice(t)
			s := open(t, &agent{binds: binds, v3: v3}, cred, Options{})
			readAll(t, s, binds)
			if st := s.Stats(); st.RoundTrips > 13 {
				t.Errorf("%d round trips", st.RoundTrips)
			}
		})
	}
}

// What a device reports must be told apart (RFC 3414 section 3.2).
func TestV3Refusals(t *testing.T) {
	tests := []struct {
		name string
		bend func(*v3Agent, *Credential)
		want error
	}{
		{"unknown user", func(_ *v3Agent, c *Credential) { c.User = "nobody" }, ErrUnknownUser},
		{"wrong passphrase", func(_ *v3Agent, c *Credential) { c.AuthPass = "mapplesyrup" }, ErrWrongDigest},
		{"wrong protocol", func(_ *v3Agent, c *Credential) { c.AuthProtocol = "MD5" }, ErrWrongDigest},
		{"wrong privacy passphrase", func(_ *v3Agent, c *Credential) { c.PrivPass = "pancakes-without" }, ErrDecrypt},
		{"level too low", func(_ *v3Agent, c *Credential) { c.PrivProtocol = "" }, ErrUnsupportedLevel},
		{"level too high", func(a *v3Agent, _ *Credential) { a.flags, a.priv = gosnmp.AuthNoPriv, gosnmp.NoPriv }, ErrUnsupportedLevel},
		{"silent about what it cannot decrypt", func(a *v3Agent, c *Credential) { c.PrivPass, a.mute = "pancakes-without", true }, ErrMute},
		{"forged answers", func(a *v3Agent, _ *Credential) { a.tamper = true }, ErrForged},
		{"a clock that jumps", func(a *v3Agent, _ *Credential) { a.jump = 100000 }, ErrNotInTimeWindow},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			v3, cred := v3Pair("SHA", "AES")
			tt.bend(v3, &cred)
			o := Options{}
			if tt.want == ErrForged || tt.want == ErrMute {
				o.Timeout = 50 * time.Millisecond
				o.Retries = 2
			}
			s := open(t, &agent{binds: fullDevice(t), v3: v3}, cred, o)
			_, err := s.probe(context.Background(), systemGroup)
			if !errors.Is(err, tt.want) || !errors.Is(err, ErrAuth) {
				t.Errorf("error %v, want %v", err, tt.want)
			}
			if err != nil && (strings.Contains(err.Error(), "maple") || strings.Contains(err.Error(), "\n")) {
				t.Errorf("the error shows a secret or has two lines: %v", err)
			}
			if s.Answered() {
				t.Error("counts as answered")
			}
		})
	}
}

// The clock of discovery is not authenticated and may be wrong; the device
// corrects it with an authentic report (RFC 3414 section 3.2.7).
func TestV3ClockIsCorrected(t *testing.T) {
	v3, cred := v3Pair("SHA256", "AES")
	v3.skew = 5000
	binds := fullDevice(t)
	s := open(t, &agent{binds: binds, v3: v3}, cred, Options{})
	readAll(t, s, binds)
}

// A device that restarts in the middle has a new boots counter.
func TestV3Restart(t *testing.T) {
	v3, cred := v3Pair("SHA", "")
	binds := fullDevice(t)
	s := open(t, &agent{binds: binds, v3: v3}, cred, Options{})
	if _, err := s.probe(context.Background(), systemGroup); err != nil {
		t.Fatal(err)
	}
	v3.mu.Lock()
	v3.boots, v3.started = 8, time.Now()
	v3.mu.Unlock()
	readAll(t, s, binds)
}

func TestV3Silence(t *testing.T) {
	_, cred := v3Pair("SHA", "AES")
	s := open(t, &agent{dropFirst: 100}, cred, Options{Timeout: 10 * time.Millisecond, Retries: 1})
	if _, err := mib.Read(context.Background(), s); !errors.Is(err, ErrNoAnswer) {
		t.Errorf("error %v", err)
	}
}

// Keys localised to an engine: RFC 3414 sections A.3.1 and A.3.2. SHA-2 keys
// follow the same rule (RFC 7860 section 9.3), the values are computed.
func TestKeys(t *testing.T) {
	engine := strings.Repeat("\x00", 11) + "\x02"
	for auth, want := range map[string]string{
		"MD5":    "526f5eed9fcce26f8964c2930787d82b",
		"SHA":    "6695febc9288e36282235fc7151f128497b38f3f",
		"SHA224": "0bd8827c6e29f8065e08e09237f177e410f69b90e1782be682075674",
		"SHA256": "8982e0e549e866db361a6b625d84cccc11162d453ee8ce3a6445c2d6776f0f8b",
		"SHA384": "3b298f16164a11184279d5432bf169e2d2a48307de02b3d3f7e2b4f36eb6f0455a53689a3937eea07319a633d2ccba78",
		"SHA512": "22a5a36cedfcc085807a128d7bc6c2382167ad6c0dbc5fdff856740f3d84c099ad1ea87a8db096714d9788bd544047c9021e4229ce27e4c0a69250adfcffbb0b",
	} {
		_, cred := v3Pair(auth, "")
		u, err := newUSM(cred)
		if err != nil {
			t.Fatal(err)
		}
		if err := u.adopt(&v3Header{engine: engine}); err != nil {
			t.Fatal(err)
		}
		if got := hex.EncodeToString(u.params.SecretKey); got != want {
			t.Errorf("%s: key %s, want %s", auth, got, want)
		}
	}
}

// Messages of SNMPv3 cut short or bent never make a header out of nothing.
func TestParseV3(t *testing.T) {
	v3, _ := v3Pair("SHA", "AES")
	whole := v3.pack(&agent{t: t}, &gosnmp.SnmpPacket{Version: gosnmp.Version3, SecurityModel: gosnmp.UserSecurityModel, PDUType: gosnmp.GetResponse,
		MsgID: 77, ContextEngineID: testEngine}, gosnmp.AuthPriv, 0)
	h, err := parseV3(whole)
	if err != nil || h.msgID != 77 || h.engine != testEngine || h.user != "reader" || h.flags != 3 || h.boots != 7 || h.codeLen != 12 {
		t.Fatalf("%+v, %v", h, err)
	}
	for n := range whole[:h.code+h.codeLen] {
		if h, err := parseV3(whole[:n]); err == nil {
			t.Errorf("%d octets: %+v", n, h)
		}
	}
}

func FuzzParseV3(f *testing.F) {
	b, err := discoveryMessage(1)
	if err != nil {
		f.Fatal(err)
	}
	f.Add(b)
	v3, _ := v3Pair("SHA", "AES")
	f.Add(v3.pack(&agent{t: f}, &gosnmp.SnmpPacket{Version: gosnmp.Version3, SecurityModel: gosnmp.UserSecurityModel,
		PDUType: gosnmp.GetResponse, MsgID: 77, ContextEngineID: testEngine}, gosnmp.AuthPriv, 0))
	f.Fuzz(func(t *testing.T, b []byte) {
		h, err := parseV3(b)
		if err == nil && (h.code < 0 || h.codeLen < 0 || h.code+h.codeLen > len(b)) {
			t.Errorf("code at %d, %d of %d octets", h.code, h.codeLen, len(b))
		}
	})
}
