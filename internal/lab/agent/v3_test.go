package agent

import (
	"context"
	"encoding/hex"
	"fmt"
	"net/netip"
	"os/exec"
	"printround/internal/needtest"
	"strings"
	"testing"
	"time"

	"github.com/gosnmp/gosnmp"
)

// TestLocalKeys compares keys with RFC 3414 appendix A.3 (MD5, SHA-1). RFC 7860
// prints none for SHA-2, which uses the same algorithm: those were computed
// with another implementation.
func TestLocalKeys(t *testing.T) {
	engine, err := hex.DecodeString("000000000000000000000002")
	if err != nil {
		t.Fatal(err)
	}
	for name, want := range map[string]string{
		"MD5":    "526f5eed9fcce26f8964c2930787d82b",
		"SHA":    "6695febc9288e36282235fc7151f128497b38f3f",
		"SHA224": "0bd8827c6e29f8065e08e09237f177e410f69b90e1782be682075674",
		"SHA256": "8982e0e549e866db361a6b625d84cccc11162d453ee8ce3a6445c2d6776f0f8b",
		"SHA384": "3b298f16164a11184279d5432bf169e2d2a48307de02b3d3f7e2b4f36eb6f0455a53689a3937eea07319a633d2ccba78",
		"SHA512": "22a5a36cedfcc085807a128d7bc6c2382167ad6c0dbc5fdff856740f3d84c099ad1ea87a8db096714d9788bd544047c9021e4229ce27e4c0a69250adfcffbb0b",
	} {
		if got := hex.EncodeToString(localKey(authProtocols[name].hash, "maplesyrup", engine)); got != want {
			t.Errorf("%s: got %s, want %s", name, got, want)
		}
	}
}

// v3Message encodes a request of a user.
func v3Get(t testing.TB, engine []byte, u *User, boots, engineTime int32, name OID) []byte {
	t.Helper()
	h := &Host{EngineID: engine, EngineBoots: boots, Booted: time.Unix(0, 0)}
	body := appendInt(appendInt(appendInt(nil, 77), 0), 0)
	body = appendTLV(body, tagSequence, appendVarBind(nil, name, Value{Tag: TagNull}))
	m := &v3Message{id: 4711, userName: []byte(u.Name), own: engine}
	return seal(h, m, u, u.level()|flagReportable, appendTLV(nil, pduGet, body), time.Unix(int64(engineTime), 0), nil)
}

func v3Discovery() []byte {
	h := &Host{Booted: time.Unix(0, 0)}
	body := appendInt(appendInt(appendInt(nil, 12), 0), 0)
	body = appendTLV(body, tagSequence, nil)
	return seal(h, &v3Message{id: 1}, nil, flagReportable, appendTLV(nil, pduGet, body), time.Unix(0, 0), nil)
}

// scoped opens an answer: the flags, the PDU.
func scoped(t *testing.T, b []byte, u *User) (flags byte, r reply) {
	t.Helper()
	msg, _, err := expect(b, tagSequence)
	if err != nil {
		t.Fatalf("answer %x: %v", b, err)
	}
	_, body, err := readInt(msg)
	if err != nil {
		t.Fatal(err)
	}
	m, err := parseV3(body)
	if err != nil {
		t.Fatal(err)
	}
	data := m.data
	if m.flags&flagAuth != 0 && !u.authentic(m, b) {
		t.Error("the answer's digest is wrong")
	}
	if m.encrypted {
		if data, err = u.decrypt(m.data, m.privParams, int32(m.boots), int32(m.time)); err != nil {
			t.Fatal(err)
		}
	}
	inner, err := m.scope(data)
	if err != nil {
		t.Fatal(err)
	}
	return m.flags, decodeReplyPDU(t, inner)
}

// TestReports goes through RFC 3414 section 3.2: which counter comes back for
// which fault, and that only the time window's report is authenticated.
func TestReports(t *testing.T) {
	engine := []byte("\x80\x00\x7e\xd9\x05lab")
	user := func(auth, password string) *User {
		u, err := NewUser("reader", engine, auth, password, "AES", "two-bells-and")
		if err != nil {
			t.Fatal(err)
		}
		return u
	}
	u := user("SHA256", "slack-water")
	h := testHost(netToMedia())
	h.EngineID, h.EngineBoots, h.Users = engine, 3, []*User{u}
	now := h.Booted.Add(time.Hour)
	stranger := user("SHA256", "slack-water")
	stranger.Name = "stranger"
	name := MustOID("1.3.6.1.2.1.1.3.0")
	for _, c := range []struct {
		what    string
		request []byte
		arc     int
		auth    bool
	}{
		{"discovery", v3Discovery(), unknownEngineIDs, false},
		{"another engine", v3Get(t, []byte("another-engine"), u, 3, 3600, name), unknownEngineIDs, false},
		{"another user", v3Get(t, engine, stranger, 3, 3600, name), unknownUserNames, false},
		{"another password", v3Get(t, engine, user("SHA256", "high-water"), 3, 3600, name), wrongDigests, false},
		{"another digest", v3Get(t, engine, user("SHA", "slack-water"), 3, 3600, name), wrongDigests, false},
		{"an old clock", v3Get(t, engine, u, 3, 3600-151, name), notInTimeWindows, true},
		{"an earlier boot", v3Get(t, engine, u, 2, 3600, name), notInTimeWindows, true},
	} {
		t.Run(c.what, func(t *testing.T) {
			var r Responder
			b := r.Respond(h, c.request, now, nil)
			flags, got := scoped(t, b, u)
			want := usmStats.With(uint32(c.arc), 0).String()
			if got.kind != pduReport || len(got.names) != 1 || got.names[0] != want {
				t.Errorf("got %x %v, want a report of %s", got.kind, got.names, want)
			}
			if (flags&flagAuth != 0) != c.auth {
				t.Errorf("authenticated: %v, want %v", flags&flagAuth != 0, c.auth)
			}
		})
	}
	var r Responder
	flags, got := scoped(t, r.Respond(h, v3Get(t, engine, u, 3, 3600+150, name), now, nil), u)
	if got.kind != pduResponse || got.id != 77 || flags&(flagAuth|flagPriv) != flagAuth|flagPriv {
		t.Errorf("a good request: got %+v, flags %x", got, flags)
	}
}

// TestUsersAtTheirLevelOnly: RFC 3415 section 3.2 refuses a request below the
// level that the view asks for.
func TestUsersAtTheirLevelOnly(t *testing.T) {
	engine := []byte("\x80\x00\x7e\xd9\x05lab")
	u, err := NewUser("reader", engine, "SHA", "slack-water", "AES", "two-bells-and")
	if err != nil {
		t.Fatal(err)
	}
	weak, err := NewUser("reader", engine, "SHA", "slack-water", "", "")
	if err != nil {
		t.Fatal(err)
	}
	h := testHost(netToMedia())
	h.EngineID, h.EngineBoots, h.Users = engine, 3, []*User{u}
	var r Responder
	_, got := scoped(t, r.Respond(h, v3Get(t, engine, weak, 3, 3600, MustOID("1.3.6.1.2.1.1.3.0")), h.Booted.Add(time.Hour), nil), u)
	if got.status != errAuthorization || len(got.names) != 0 {
		t.Errorf("got %+v, want authorizationError", got)
	}
}

// TestReferenceTools walks the agent with the tools of a reference
// implementation, v1, v2c and v3, and compares the counts with the tree.
func TestReferenceTools(t *testing.T) {
	walk, bulk := needtest.Program(t, "snmpwalk"), needtest.Program(t, "snmpbulkwalk")
	tree := wide()
	h := testHost(tree)
	h.EngineID, h.EngineBoots = []byte("\x80\x00\x7e\xd9\x05lab"), 3
	add := func(name, auth, priv string) {
		u, err := NewUser(name, h.EngineID, auth, "slack-water", priv, "two-bells-and")
		if err != nil {
			t.Fatal(err)
		}
		h.Users = append(h.Users, u)
	}
	add("open", "", "")
	add("md5", "MD5", "")
	add("sha-des", "SHA", "DES")
	add("sha512-aes", "SHA512", "AES")
	s := serve(t, h)
	at := fmt.Sprintf("127.0.0.1:%d", s.Port())
	v3 := func(name string, more ...string) []string { return append([]string{"-v3", "-u", name}, more...) }
	for _, c := range []struct {
		what string
		tool string
		args []string
	}{
		{"v1", walk, []string{"-v1", "-cpublic"}},
		{"v2c", walk, []string{"-v2c", "-cpublic"}},
		{"v2c bulk", bulk, []string{"-v2c", "-cpublic", "-Cr25"}},
		{"v3 noAuthNoPriv", bulk, v3("open", "-l", "noAuthNoPriv")},
		{"v3 authNoPriv MD5", bulk, v3("md5", "-l", "authNoPriv", "-a", "MD5", "-A", "slack-water")},
		{"v3 authPriv SHA DES", bulk, v3("sha-des", "-l", "authPriv", "-a", "SHA", "-A", "slack-water", "-x", "DES", "-X", "two-bells-and")},
		{"v3 authPriv SHA-512 AES", bulk, v3("sha512-aes", "-l", "authPriv", "-a", "SHA-512", "-A", "slack-water", "-x", "AES", "-X", "two-bells-and")},
	} {
		t.Run(c.what, func(t *testing.T) {
			ctx, cancel := context.WithTimeout(context.Background(), 20*time.Second)
			defer cancel()
			args := append(c.args, "-On", "-t", "2", "-r", "1", at, "1.3.6.1.2.1.43")
			out, err := exec.CommandContext(ctx, c.tool, args...).CombinedOutput()
			lines := strings.Count(string(out), "STRING:")
			if err != nil || lines != tree.Len() {
				t.Errorf("%v, %d values of %d\n%.300s", err, lines, tree.Len(), out)
			}
		})
	}
}

// serve answers for h on a free port of 127.0.0.1.
func serve(t *testing.T, h *Host) *Server {
	t.Helper()
	s, err := ListenEach([]netip.AddrPort{netip.MustParseAddrPort("127.0.0.1:0")},
		func(netip.AddrPort, time.Time) (*Host, time.Duration, bool) { return h, 0, true })
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	})
	return s
}

// TestLibraryClient reads with a general-purpose library as client, for every
// pair of protocols that RFC 3414, RFC 3826 and RFC 7860 allow.
func TestLibraryClient(t *testing.T) {
	auths := map[string]gosnmp.SnmpV3AuthProtocol{"MD5": gosnmp.MD5, "SHA": gosnmp.SHA, "SHA224": gosnmp.SHA224,
		"SHA256": gosnmp.SHA256, "SHA384": gosnmp.SHA384, "SHA512": gosnmp.SHA512}
	privs := map[string]gosnmp.SnmpV3PrivProtocol{"DES": gosnmp.DES, "AES": gosnmp.AES}
	h := testHost(wide())
	h.EngineID, h.EngineBoots = []byte("\x80\x00\x7e\xd9\x05lab"), 3
	for a := range auths {
		for p := range privs {
			u, err := NewUser(a+p, h.EngineID, a, "slack-water", p, "two-bells-and")
			if err != nil {
				t.Fatal(err)
			}
			h.Users = append(h.Users, u)
		}
	}
	s := serve(t, h)
	for a, auth := range auths {
		for p, priv := range privs {
			c := &gosnmp.GoSNMP{Target: "127.0.0.1", Port: uint16(s.Port()), Version: gosnmp.Version3, Timeout: 3 * time.Second,
				MaxOids: 60, SecurityModel: gosnmp.UserSecurityModel, MsgFlags: gosnmp.AuthPriv,
				SecurityParameters: &gosnmp.UsmSecurityParameters{UserName: a + p, AuthenticationProtocol: auth,
					AuthenticationPassphrase: "slack-water", PrivacyProtocol: priv, PrivacyPassphrase: "two-bells-and"}}
			if err := c.Connect(); err != nil {
				t.Fatal(err)
			}
			got, err := c.GetBulk([]string{"1.3.6.1.2.1.43.11.1.1.6"}, 0, 5)
			c.Conn.Close()
			if err != nil || len(got.Variables) != 5 || !strings.HasPrefix(string(got.Variables[4].Value.([]byte)), "xxxx") {
				t.Errorf("%s and %s: %v, %v", a, p, got, err)
			}
		}
	}
}

func TestNewUserRefuses(t *testing.T) {
	for _, c := range [][]string{
		{"SHA3", "long-enough", "", ""}, {"SHA", "short", "", ""}, {"SHA", "long-enough", "AES", "short"},
		{"SHA", "long-enough", "ROT13", "long-enough"}, {"", "", "AES", "long-enough"},
	} {
		if _, err := NewUser("u", []byte("engine-id"), c[0], c[1], c[2], c[3]); err == nil {
			t.Errorf("NewUser(%q) gives no error", c)
		}
	}
}
