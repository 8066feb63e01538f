package site

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"printround/internal/device"
	"printround/internal/snmp"
)

const good = `
horizon_days = 21
[thresholds]
consumable_low = 12.5
waste_low = 0
[weights]
stopped = 0.9
media-jam = 1

[[site]]
name = "North branch"
location = "Quay 1"
contact = "Front desk"
targets = ["127.20.1.0/24", "printer-a.example", "@more.txt"]
skip = ["127.20.1.200-127.20.1.220"]
expected_media = ["iso_a4_210x297mm"]
  [[site.credential]]
  label = "office"
  version = "2c"
  community_file = "office.community"
  [[site.credential]]
  version = "3"
  user = "reader"
  auth_protocol = "sha256"
  auth_env = "NORTH_AUTH"
  priv_protocol = "AES"
  priv_file = "v3.priv"
  context = "floor"
  [[site.device]]
  address = "127.20.1.30"
  name = "Front desk"
  location = "Ground floor"
  sole = true
  [[site.device]]
  key = "serial:maker model:0042"

[[site]]
name = "South branch"
device = [{address = "127.20.2.9"}]
`

func noEnv(string) (string, bool) { return "", false }

func TestParse(t *testing.T) {
	dir := t.TempDir()
	f, err := Parse(filepath.Join(dir, "printround.toml"), []byte(good))
	if err != nil {
		t.Fatal(err)
	}
	consumable, waste := 12.5, 0.0
	want := &File{
		Path:        filepath.Join(dir, "printround.toml"),
		HorizonDays: 21,
		Thresholds:  Thresholds{ConsumableLow: &consumable, WasteLow: &waste},
		Weights:     map[string]float64{"stopped": 0.9, "media-jam": 1},
		Sites: []Site{{
			Name: "North branch", Location: "Quay 1", Contact: "Front desk",
			Targets:       []string{"127.20.1.0/24", "printer-a.example", "@" + filepath.Join(dir, "more.txt")},
			Skip:          []string{"127.20.1.200-127.20.1.220"},
			ExpectedMedia: []string{"iso_a4_210x297mm"},
			Expected: []device.Expected{
				{Address: "127.20.1.30", Name: "Front desk", Location: "Ground floor", Sole: true, Site: "North branch"},
				{Key: "serial:maker model:0042", Site: "North branch"},
			},
			credentials: []reference{
				{credential: snmp.Credential{Label: "office", Version: snmp.V2c}, community: secretRef{file: filepath.Join(dir, "office.community")}},
				{
					credential: snmp.Credential{Label: "credential 2", Version: snmp.V3, User: "reader", AuthProtocol: "SHA256", PrivProtocol: "AES", Context: "floor"},
					auth:       secretRef{env: "NORTH_AUTH"}, priv: secretRef{file: filepath.Join(dir, "v3.priv")},
				},
			},
		}, {
			Name:     "South branch",
			Expected: []device.Expected{{Address: "127.20.2.9", Site: "South branch"}},
		}},
	}
	if diff := cmp.Diff(want, f, cmp.AllowUnexported(Site{}, reference{}, secretRef{})); diff != "" {
		t.Errorf("parsed file (-want +got):\n%s", diff)
	}
}

// TestParseErrors counts lines and columns by hand in the documents.
func TestParseErrors(t *testing.T) {
	site := "[[site]]\nname = \"A\"\ntargets = [\"192.0.2.1\"]\n" // three lines
	cred := site + "[[site.credential]]\n"                        // line 4
	tests := []struct{ name, doc, want string }{
		{"empty", "", `f.toml: no [[site]] in it: a site needs a name and targets`},
		{"unknown key at the top", "colour = 1\n" + site, `f.toml:1:1: unknown key "colour"`},
		{"unknown key in a site", site + "  tragets = []\n", `f.toml:4:3: unknown key "site.tragets"`},
		{"unknown table", site + "[site.extra]\nx = 1\n", `f.toml:4:2: unknown key "site.extra"`},
		{"two unknown keys", "a = 1\nb = 2\n" + site, "f.toml:1:1: unknown key \"a\"\nf.toml:2:1: unknown key \"b\""},
		{"secret in the file", cred + "community = \"hush\"\n", `f.toml:5:1: unknown key "site.credential.community": secrets are kept outside this file, name them by community_file or community_env`},
		{"passphrase in the file", cred + "auth_password = \"hush-hush\"\n", `f.toml:5:1: unknown key "site.credential.auth_password": secrets are kept outside this file, name them by auth_file or auth_env`},
		{"text for a number", "horizon_days = \"soon\"\n" + site, `f.toml:1:16: horizon_days: this is a string, wanted a whole number`},
		{"number for text", "[[site]]\nname = 4\n", `f.toml:2:8: site.name: this is an integer, wanted a string`},
		{"text for a list", "[[site]]\nname = \"A\"\ntargets = \"192.0.2.1\"\n", `f.toml:3:11: site.targets: this is a string, wanted a list of strings`},
		{"a word for sole", site + "[[site.device]]\naddress = \"192.0.2.1\"\nsole = \"yes\"\n", `f.toml:6:8: site.device.sole: this is a string, wanted true or false`},
		{"text for a weight", "[weights]\nmedia-jam = \"high\"\n" + site, `f.toml:2:13: weights.media-jam: this is a string, wanted a number`},
		{"a list in a list", "[[site]]\nname = \"A\"\ntargets = [[\"192.0.2.1\"]]\n", `f.toml:3:1: site.targets: this is an array, wanted a string`},
		{"table twice", "[thresholds]\n[thresholds]\n" + site, `f.toml:2:2: thresholds: table thresholds already exists`},
		{"key twice", "[[site]]\nname = \"A\"\nname = \"B\"\n", `f.toml:3:1: key name is already defined`},
		{"syntax", "[[site]\nname = \"A\"\n", `f.toml:1:`},
		{"unfinished text", "[[site]]\nname = \"A\n", `f.toml:2:`},
		{"site twice", site + site, `f.toml:5:1: site "A" is there twice: each site needs its own name`},
		{"site without a name", "[[site]]\ntargets = [\"192.0.2.1\"]\n", `f.toml:1:3: a site without a name`},
		{"nothing to look at", "[[site]]\nname = \"A\"\n", `f.toml:1:3: site "A" has neither targets nor devices`},
		{"empty target", "[[site]]\nname = \"A\"\ntargets = [\"192.0.2.1\", \" \"]\n", `f.toml:3:25: an empty text in the list`},
		{"escape in a name", "[[site]]\nname = \"A\\u001b[31m\"\ntargets = [\"192.0.2.1\"]\n", `f.toml:2:1: control or invisible characters in a text`},
		{"device without identity", site + "[[site.device]]\nname = \"D\"\n", `f.toml:4:3: a device needs a key or an address`},
		{"device with a strange key", site + "[[site.device]]\nkey = \"0042\"\n", `f.toml:5:1: key "0042": wanted one that begins with uuid:, serial:, mac:, addr:`},
		{"device with a subnet", site + "[[site.device]]\naddress = \"192.0.2.0/24\"\n", `f.toml:5:1: address "192.0.2.0/24": wanted one IP address or host name`},
		{"device with half an address", site + "[[site.device]]\naddress = \"192.0.2\"\n", `f.toml:5:1: address "192.0.2": wanted one IP address or host name`},
		{"device twice", site + "[[site.device]]\naddress = \"2001:db8::1\"\n[[site.device]]\naddress = \"2001:DB8:0::1\"\n", `f.toml:6:3: the device with address 2001:db8::1 is there twice`},
		{"no version", cred + "community_env = \"X\"\n", `f.toml:4:3: a credential without a version: wanted "1", "2c" or "3"`},
		{"unknown version", cred + "version = \"2\"\n", `f.toml:5:1: version "2": wanted "1", "2c" or "3"`},
		{"no community", cred + "version = \"2c\"\n", `f.toml:4:3: version 2c needs community_file or community_env`},
		{"two communities", cred + "version = \"1\"\ncommunity_file = \"a\"\ncommunity_env = \"B\"\n", `f.toml:4:3: community_file and community_env: wanted one of them`},
		{"user without version 3", cred + "version = \"2c\"\ncommunity_env = \"B\"\nuser = \"u\"\n", `f.toml:7:1: user does nothing in version 2c`},
		{"community with version 3", cred + "version = \"3\"\nuser = \"u\"\ncommunity_env = \"B\"\n", `f.toml:7:1: community_env does nothing in version 3`},
		{"no user", cred + "version = \"3\"\n", `f.toml:4:3: version 3 needs a user of 1 to 32 octets`},
		{"long user", cred + "version = \"3\"\nuser = \"" + strings.Repeat("u", 33) + "\"\n", `f.toml:6:1: version 3 needs a user of 1 to 32 octets`},
		{"unknown auth protocol", cred + "version = \"3\"\nuser = \"u\"\nauth_protocol = \"SHA3\"\nauth_env = \"A\"\n", `f.toml:7:1: auth_protocol "SHA3": wanted one of MD5, SHA, SHA224, SHA256, SHA384, SHA512`},
		{"auth without passphrase", cred + "version = \"3\"\nuser = \"u\"\nauth_protocol = \"SHA\"\n", `f.toml:4:3: auth_protocol needs auth_file or auth_env`},
		{"passphrase without protocol", cred + "version = \"3\"\nuser = \"u\"\nauth_env = \"A\"\n", `f.toml:4:3: auth_file or auth_env needs auth_protocol`},
		{"privacy alone", cred + "version = \"3\"\nuser = \"u\"\npriv_protocol = \"AES\"\npriv_env = \"A\"\n", `f.toml:7:1: privacy without authentication does not exist (RFC 3411 section 3.4.3): set auth_protocol too`},
		{"label twice", cred + "label = \"x\"\nversion = \"1\"\ncommunity_env = \"B\"\n[[site.credential]]\nlabel = \"x\"\nversion = \"1\"\ncommunity_env = \"B\"\n", `f.toml:9:1: credential "x" is there twice in site "A"`},
		{"horizon", "horizon_days = 0\n" + site, `f.toml:1:1: horizon_days = 0: wanted 1 to 366 days`},
		{"threshold", "[thresholds]\nconsumable_low = 101\n" + site, `f.toml:2:1: consumable_low = 101: wanted a percentage, 0 to 100`},
		{"threshold no number", "[thresholds]\nwaste_low = nan\n" + site, `f.toml:2:1: waste_low = NaN: wanted a percentage, 0 to 100`},
		{"weight", "[weights]\nmedia-jam = 1.5\n" + site, `f.toml:2:1: weight of "media-jam" is 1.5: wanted 0 to 1`},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			_, err := Parse("f.toml", []byte(tt.doc))
			if err == nil {
				t.Fatal("no error")
			}
			got := err.Error()
			exact := strings.HasSuffix(tt.want, ":")
			if got != tt.want && !(exact && strings.HasPrefix(got, tt.want)) {
				t.Errorf("got  %s\nwant %s", got, tt.want)
			}
			var e *Error
			if !errors.As(err, &e) {
				t.Errorf("%T holds no *Error", err)
			}
			if strings.Contains(got, "hush") {
				t.Errorf("the error shows a secret: %s", got)
			}
		})
	}
}

func TestLoad(t *testing.T) {
	dir := t.TempDir()
	if _, err := Load(filepath.Join(dir, "none.toml")); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("missing file: got %v, want one that is os.ErrNotExist", err)
	}
	path := filepath.Join(dir, "printround.toml")
	if err := os.WriteFile(path, []byte(good), 0o644); err != nil {
		t.Fatal(err)
	}
	f, err := Load(path)
	if err != nil {
		t.Fatal(err)
	}
	if len(f.Sites) != 2 {
		t.Errorf("got %d sites, want 2", len(f.Sites))
	}
	if err := os.WriteFile(path, make([]byte, maxFile+1), 0o644); err != nil {
		t.Fatal(err)
	}
	if _, err := Load(path); err == nil || !strings.Contains(err.Error(), "longer than") {
		t.Errorf("oversized file: got %v", err)
	}
}

func TestDefaultCredential(t *testing.T) {
	f, err := Parse("f.toml", []byte("[[site]]\nname = \"A\"\ntargets = [\"192.0.2.1\"]\n"))
	if err != nil {
		t.Fatal(err)
	}
	creds, problems := f.Sites[0].Credentials(noEnv)
	if len(creds) != 1 || creds[0] != Default() || len(problems) != 0 {
		t.Errorf("got %d credentials and problems %v, want the default alone", len(creds), problems)
	}
}

func FuzzParse(f *testing.F) {
	f.Add([]byte(good))
	f.Add([]byte("[[site]]\nname = \"A\"\nname = \"B\"\n"))
	f.Add([]byte("site = [{name = 'x', targets = ['@a'], device = [{sole = true}]}]\n"))
	f.Add([]byte("[thresholds]\nconsumable_low = inf\n[weights]\na.b = 1\n"))
	f.Fuzz(func(t *testing.T, content []byte) {
		file, err := Parse("f.toml", content)
		if err != nil {
			for _, line := range strings.Split(err.Error(), "\n") {
				if !strings.HasPrefix(line, "f.toml:") {
					t.Errorf("an error line that does not say where: %q", line)
				}
			}
			return
		}
		if len(file.Sites) == 0 {
			t.Error("a good file without a site")
		}
		names := map[string]bool{}
		for _, s := range file.Sites {
			if s.Name == "" || names[s.Name] || len(s.Targets)+len(s.Expected) == 0 {
				t.Errorf("site %q passed: nameless, twice or empty", s.Name)
			}
			names[s.Name] = true
			for _, e := range s.Expected {
				if e.Key == "" && e.Address == "" {
					t.Errorf("site %q: a device without identity passed", s.Name)
				}
			}
		}
	})
}
