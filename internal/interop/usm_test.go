package interop

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/netip"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"printround/internal/lab/agent"
	"printround/internal/mib"
	"printround/internal/needtest"
	"printround/internal/oid"
	"printround/internal/snmp"
)

// The protocols of the user-based security model that the tool speaks, with the
// names that the net-snmp tools have for them (snmpcmd(1) and snmpd.conf(5)):
// RFC 3414 sections 6 to 8, RFC 7860, RFC 3826. AES with longer keys has no
// standard; both ways in use of making the keys are there
// (draft-blumenthal-aes-usm-04, and with a C that of
// draft-reeder-snmpv3-usm-3desede-00).
var (
	usmAuth = []string{"MD5", "SHA", "SHA224", "SHA256", "SHA384", "SHA512"}
	usmPriv = []string{"DES", "AES", "AES192", "AES256", "AES192C", "AES256C"}
	usmTool = map[string]string{
		"MD5": "MD5", "SHA": "SHA", "SHA224": "SHA-224", "SHA256": "SHA-256", "SHA384": "SHA-384", "SHA512": "SHA-512",
		"DES": "DES", "AES": "AES", "AES192": "AES-192", "AES256": "AES-256", "AES192C": "AES-192-C", "AES256C": "AES-256-C",
	}
)

// pair is one user with one pair of protocols; either may be empty.
type pair struct{ auth, priv string }

func (p pair) user() string {
	return "u-" + strings.ToLower(strings.Trim(p.auth+"-"+p.priv, "-"))
}

func (p pair) cred() snmp.Credential {
	c := snmp.Credential{Label: "test", Version: snmp.V3, User: p.user(), AuthProtocol: p.auth, PrivProtocol: p.priv}
	if p.auth != "" {
		c.AuthPass = agentAuth
	}
	if p.priv != "" {
		c.PrivPass = agentPriv
	}
	return c
}

// level is the security level in the words of the net-snmp tools.
func (p pair) level() string {
	switch {
	case p.priv != "":
		return "authPriv"
	case p.auth != "":
		return "authNoPriv"
	}
	return "noAuthNoPriv"
}

// tool is the pair as options of the net-snmp tools.
func (p pair) tool() []string {
	o := []string{"-v3", "-u", p.user(), "-l", p.level()}
	if p.auth != "" {
		o = append(o, "-a", usmTool[p.auth], "-A", agentAuth)
	}
	if p.priv != "" {
		o = append(o, "-x", usmTool[p.priv], "-X", agentPriv)
	}
	return o
}

// allPairs are all that the tool speaks: none, each authentication alone, and
// each with each privacy.
func allPairs() []pair {
	out := []pair{{}}
	for _, a := range usmAuth {
		out = append(out, pair{a, ""})
		for _, p := range usmPriv {
			out = append(out, pair{a, p})
		}
	}
	return out
}

const usmSystem = "usm-agent"

// usmConfig is the configuration of an snmpd with a user for each pair.
func usmConfig() string {
	var b strings.Builder
	fmt.Fprintf(&b, "exactEngineID 0x80007ed9056d6174726978\nsysName %s\n", usmSystem)
	for _, p := range allPairs() {
		fmt.Fprintf(&b, "createUser %s", p.user())
		if p.auth != "" {
			fmt.Fprintf(&b, " %s %q", usmTool[p.auth], agentAuth)
		}
		if p.priv != "" {
			fmt.Fprintf(&b, " %s %q", usmTool[p.priv], agentPriv)
		}
		fmt.Fprintf(&b, "\nrouser %s %s\n", p.user(), map[string]string{"authPriv": "priv", "authNoPriv": "auth", "noAuthNoPriv": "noauth"}[p.level()])
	}
	return b.String()
}

// startUSM starts an snmpd with the users until the test t ends. Its state, such
// as how often it was started, lies in dir.
func startUSM(t *testing.T, dir, addr string) {
	t.Helper()
	conf := filepath.Join(dir, "usm.conf")
	if err := os.WriteFile(conf, []byte(usmConfig()), 0o600); err != nil {
		t.Fatal(err)
	}
	env := []string{"SNMP_PERSISTENT_DIR=" + filepath.Join(dir, "state"), "SNMPCONFPATH=" + dir, "MIBS="}
	s := startServer(t, env, needtest.Program(t, "snmpd"), "-f", "-Lo", "-C", "-c", conf, "-p", filepath.Join(dir, "pid"), "udp:"+addr)
	s.await(t, s.printed("NET-SNMP version"))
}

// labUSM starts the lab's agent with a user for each pair.
func labUSM(t *testing.T) (*agent.Host, netip.AddrPort) {
	t.Helper()
	h := &agent.Host{EngineID: []byte("\x80\x00\x7e\xd9\x05matrix"), EngineBoots: 3, Booted: time.Now().Add(-time.Hour)}
	for _, p := range allPairs() {
		c := p.cred()
		u, err := agent.NewUser(c.User, h.EngineID, p.auth, c.AuthPass.Reveal(), p.priv, c.PrivPass.Reveal())
		if err != nil {
			t.Fatal(err)
		}
		h.Users = append(h.Users, u)
	}
	var b agent.Builder
	b.Put(agent.MustOID("1.3.6.1.2.1.1.1"), agent.Text("an agent for tests"), 0)
	b.Put(agent.MustOID("1.3.6.1.2.1.1.5"), agent.Text(usmSystem), 0)
	h.Serve(b.Build())
	at := netip.AddrPortFrom(netip.MustParseAddr("127.0.0.1"), freeUDP(t))
	s, err := agent.ListenEach([]netip.AddrPort{at}, func(netip.AddrPort, time.Time) (*agent.Host, time.Duration, bool) { return h, 0, true })
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	return h, at
}

func openUSM(t *testing.T, at netip.AddrPort, c snmp.Credential, timeout time.Duration) *snmp.Session {
	t.Helper()
	s, err := snmp.Open(t.Context(), at, c, snmp.Options{Timeout: timeout, Retries: 1, Log: func(line string) { clean(t, "the log", line) }})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	return s
}

// sysName asks for the name of the system (RFC 3418 section 2).
func sysName(s *snmp.Session) (string, error) {
	a, err := s.Next(context.Background(), oid.Request{Names: []oid.Ask{{Name: oid.MustParse("1.3.6.1.2.1.1.5"), Size: 32}}})
	if err != nil {
		return "", err
	}
	return string(a.Names[0].Value.Bytes), nil
}

// clean checks that a text shows no passphrase of the tests.
func clean(t *testing.T, what, text string) {
	t.Helper()
	for _, secret := range []string{agentAuth, agentPriv, wrongPass} {
		if strings.Contains(text, secret) {
			t.Errorf("%s shows a passphrase", what)
		}
	}
}

const wrongPass = "not-the-passphrase-at-all"

// Every pair of protocols: the tool against snmpd, the tool against the lab, and
// the reference reader against the lab, which has an encoder and keys of its own.
func TestEveryPairOfProtocols(t *testing.T) {
	addr := net.JoinHostPort("127.0.0.1", portText(freeUDP(t)))
	startUSM(t, openDir(t), addr)
	_, own := labUSM(t)
	reader := needtest.Program(t, "snmpget")
	pairs := allPairs()
	for _, p := range pairs {
		t.Run(p.user(), func(t *testing.T) {
			for name, at := range map[string]netip.AddrPort{"snmpd": addrPort(t, addr), "the lab": own} {
				if got, err := sysName(openUSM(t, at, p.cred(), 10*time.Second)); err != nil || got != usmSystem {
					t.Errorf("%s: %q, %v", name, got, err)
				}
			}
			out, err := run(t, reader, append(p.tool(), "-Oqv", own.String(), "1.3.6.1.2.1.1.5.0")...)
			if err != nil || strings.Trim(strings.TrimSpace(out), `"`) != usmSystem {
				t.Errorf("snmpget against the lab: %q, %v", out, err)
			}
		})
	}
	if len(pairs) != 1+6+36 {
		t.Errorf("%d pairs", len(pairs))
	}
}

// A session goes on with an agent that was started again: its boots are counted
// (RFC 3414 section 2.2.2), the old time is outside the window, and the report
// that says so is authentic.
func TestSessionOutlivesARestart(t *testing.T) {
	at := netip.AddrPortFrom(netip.MustParseAddr("127.0.0.1"), freeUDP(t))
	dir := openDir(t)
	p := pair{"SHA256", "AES"}
	s := openUSM(t, at, p.cred(), 10*time.Second)
	for _, when := range []string{"snmpd, at first", "snmpd, started again"} {
		t.Run(when, func(t *testing.T) {
			startUSM(t, dir, at.String()) // ends with this part
			if got, err := sysName(s); err != nil || got != usmSystem {
				t.Errorf("%q, %v", got, err)
			}
		})
	}
	t.Run("the lab", func(t *testing.T) {
		h, own := labUSM(t)
		s := openUSM(t, own, p.cred(), 10*time.Second)
		for range 2 {
			if got, err := sysName(s); err != nil || got != usmSystem {
				t.Errorf("%q, %v", got, err)
			}
			h.Restart(time.Now())
		}
	})
}

// What keeps a user out has words of its own each time, and no words show a
// passphrase.
func TestRefusalsAreToldApart(t *testing.T) {
	addr := net.JoinHostPort("127.0.0.1", portText(freeUDP(t)))
	startUSM(t, openDir(t), addr)
	h, own := labUSM(t)
	good := pair{"SHA", "AES"}
	with := func(change func(*snmp.Credential)) snmp.Credential {
		c := good.cred()
		change(&c)
		return c
	}
	cases := []struct {
		name string
		cred snmp.Credential
		want error
		mute bool // an agent may also be silent about it
		odd  *agent.Odd
	}{
		{"unknown user", with(func(c *snmp.Credential) { c.User = "nobody-of-that-name" }), snmp.ErrUnknownUser, false, nil},
		{"wrong authentication passphrase", with(func(c *snmp.Credential) { c.AuthPass = wrongPass }), snmp.ErrWrongDigest, false, nil},
		{"wrong authentication protocol", with(func(c *snmp.Credential) { c.AuthProtocol = "SHA512" }), snmp.ErrWrongDigest, false, nil},
		{"wrong privacy passphrase", with(func(c *snmp.Credential) { c.PrivPass = wrongPass }), snmp.ErrDecrypt, true, nil},
		{"wrong privacy protocol", with(func(c *snmp.Credential) { c.PrivProtocol = "AES256" }), snmp.ErrDecrypt, true, nil},
		{"privacy where the user has none", func() snmp.Credential {
			c := good.cred()
			c.User = pair{"SHA", ""}.user()
			return c
		}(), snmp.ErrUnsupportedLevel, false, nil},
		{"less than the user is let in with", with(func(c *snmp.Credential) { c.PrivProtocol, c.PrivPass = "", "" }), snmp.ErrNotAllowed, false, nil},
		{"answers with less", good.cred(), snmp.ErrDowngrade, false, &agent.Odd{Weaken: true}},
		{"another engine each time", good.cred(), snmp.ErrEngine, false, &agent.Odd{NewEngine: true}},
		{"a clock that jumps", good.cred(), snmp.ErrNotInTimeWindow, false, &agent.Odd{Jump: 86_400}},
	}
	words := map[string]error{}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			places := map[string]netip.AddrPort{"the lab": own}
			if c.odd == nil {
				places["snmpd"] = addrPort(t, addr)
			}
			for name, at := range places {
				h.Misbehave(c.odd)
				timeout := 10 * time.Second
				if c.mute || c.odd != nil {
					timeout = 500 * time.Millisecond // it may be waited for in vain
				}
				_, err := mib.Read(t.Context(), openUSM(t, at, c.cred, timeout))
				h.Misbehave(nil)
				if !errors.Is(err, c.want) && !(c.mute && errors.Is(err, snmp.ErrMute)) || !errors.Is(err, snmp.ErrAuth) {
					t.Errorf("%s: %v, want %v", name, err, c.want)
					continue
				}
				clean(t, name, fmt.Sprintf("%v %+v %#v", err, c.cred, c.cred))
				if old, ok := words[c.want.Error()]; ok && !errors.Is(old, c.want) {
					t.Errorf("%v and %v have the same words", old, c.want)
				}
				words[c.want.Error()] = c.want
			}
		})
	}
	if len(words) != 8 {
		t.Errorf("%d different words, want 8: %v", len(words), words)
	}
}
