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
tray_low = 20
queue_wait_minutes = 45
bring_probability = 0.35
[weights]
stopped = 0.9
media-jam = 1
[report]
dir = "reports"
history = "nights.db"
keep_days = 800

[[part]]
supply = "staples"
number = "SC-3"
[[part]]
model = "Okvarna L4*"
supply = "toner cartridge"
colorant = "Black"
number = "OT-42"
name = "Toner, high yield"
[[model]]
match = "Okvarna L420dn"
pages_per_month = 4000
  [[model.roller]]
  name = "photoconductor drum"
  diameter_mm = 24
  part = "drum unit"
  [[model.roller]]
  name = "fuser roller"
  diameter_mm = 25.5
  tolerance_mm = 1.5
  [[model.service]]
  part = "feed roller kit"
  pages = 100_000
[[model]]
match = "Brindlecote *"

[[site]]
name = "North branch"
location = "Quay 1"
contact = "Front desk"
targets = ["127.20.1.0/24", "printer-a.example", "@more.txt"]
skip = ["127.20.1.200-127.20.1.220"]
expected_media = ["iso_a4_210x297mm"]
expected_orientation = "Landscape"
expected_languages = ["langPS", "application/pdf"]
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
	consumable, waste, tray, bring, wait := 12.5, 0.0, 20.0, 0.35, 45
	want := &File{
		Path:        filepath.Join(dir, "printround.toml"),
		HorizonDays: 21,
		Thresholds:  Thresholds{ConsumableLow: &consumable, WasteLow: &waste, TrayLow: &tray, QueueWaitMin: &wait, BringProbability: &bring},
		Weights:     map[string]float64{"stopped": 0.9, "media-jam": 1},
		Report:      Report{Dir: filepath.Join(dir, "reports"), History: filepath.Join(dir, "nights.db"), KeepDays: 800},
		Catalogue: device.Catalogue{
			Parts: []device.CataloguePart{
				{Supply: "staples", Number: "SC-3"},
				{Model: "Okvarna L4*", Supply: "toner cartridge", Colorant: "black", Number: "OT-42", Name: "Toner, high yield"},
			},
			Models: []device.Model{
				{
					Match: "Okvarna L420dn", PagesPerMonth: 4000,
					Rollers: []device.Roller{
						{Name: "photoconductor drum", DiameterMM: 24, ToleranceMM: 1, Part: "drum unit"},
						{Name: "fuser roller", DiameterMM: 25.5, ToleranceMM: 1.5},
					},
					Services: []device.ServiceInterval{{Part: "feed roller kit", Pages: 100_000}},
				},
				{Match: "Brindlecote *"},
			},
		},
		Sites: []Site{{
			Name: "North branch", Location: "Quay 1", Contact: "Front desk",
			Targets:       []string{"127.20.1.0/24", "printer-a.example", "@" + filepath.Join(dir, "more.txt")},
			Skip:          []string{"127.20.1.200-127.20.1.220"},
			ExpectedMedia: []string{"iso_a4_210x297mm"},

			ExpectedOrientation: "landscape",
			ExpectedLanguages:   []string{"langPS", "application/pdf"},

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
		{"tray threshold", "[thresholds]\ntray_low = -1\n" + site, `f.toml:2:1: tray_low = -1: wanted a percentage, 0 to 100`},
		{"queue wait", "[thresholds]\nqueue_wait_minutes = 0\n" + site, `f.toml:2:1: queue_wait_minutes = 0: wanted 1 to 10080`},
		{"part of a minute", "[thresholds]\nqueue_wait_minutes = 1.5\n" + site, `f.toml:2:22: thresholds.queue_wait_minutes: this is a float, wanted a whole number`},
		{"probability in percent", "[thresholds]\nbring_probability = 20\n" + site, `f.toml:2:1: bring_probability = 20: wanted 0 to 1`},
		{"orientation", site + "expected_orientation = \"sideways\"\n", `f.toml:4:1: expected_orientation "sideways": wanted one of portrait, landscape, reverse-landscape, reverse-portrait, any`},
		{"empty language", site + "expected_languages = [\"langPS\", \"\"]\n", `f.toml:4:33: an empty text in the list`},
		{"unknown key of the report", site + "[report]\nfolder = \"x\"\n", `f.toml:5:1: unknown key "report.folder"`},
		{"report without a path", "[report]\ndir = \" \"\n" + site, `f.toml:2:1: dir: wanted a path`},
		{"history is no path", "[report]\nhistory = 4\n" + site, `f.toml:2:11: report.history: this is an integer, wanted a string`},
		{"nights kept", "[report]\nkeep_days = 0\n" + site, `f.toml:2:1: keep_days = 0: wanted 1 to 36525`},
		{"unknown key of a part", site + "[[part]]\nsuply = \"toner\"\n", `f.toml:5:1: unknown key "part.suply"`},
		{"part of nothing", site + "[[part]]\nnumber = \"1\"\n", `f.toml:4:3: a part without a supply: wanted what it replaces, such as toner, opc, fuser or feed roller kit`},
		{"part without a number", site + "[[part]]\nsupply = \"toner\"\n", `f.toml:4:3: a part with neither number nor name says nothing`},
		{"part twice", site + "[[part]]\nsupply = \"toner\"\nnumber = \"1\"\n[[part]]\nsupply = \"Toner\"\nnumber = \"2\"\n", `f.toml:7:3: the part for Toner is there twice`},
		{"star in the middle", site + "[[part]]\nmodel = \"A * B\"\nsupply = \"toner\"\nnumber = \"1\"\n", `f.toml:5:1: "A * B": a * is allowed at the end only`},
		{"model without match", site + "[[model]]\npages_per_month = 1\n", `f.toml:4:3: a model without match: wanted its make and model`},
		{"model twice", site + "[[model]]\nmatch = \"A\"\n[[model]]\nmatch = \"a\"\n", `f.toml:6:3: the model for a is there twice`},
		{"load", site + "[[model]]\nmatch = \"A\"\npages_per_month = -1\n", `f.toml:6:1: pages_per_month = -1: wanted 1 to 100000000`},
		{"roller without a name", site + "[[model]]\nmatch = \"A\"\n[[model.roller]]\ndiameter_mm = 24\n", `f.toml:6:3: a roller without a name`},
		{"roller without a diameter", site + "[[model]]\nmatch = \"A\"\n[[model.roller]]\nname = \"r\"\n", `f.toml:6:3: a roller without diameter_mm`},
		{"roller in micrometres", site + "[[model]]\nmatch = \"A\"\n[[model.roller]]\nname = \"r\"\ndiameter_mm = 24000\n", `f.toml:8:1: diameter_mm = 24000: wanted more than 0 and at most 500 mm`},
		{"tolerance", site + "[[model]]\nmatch = \"A\"\n[[model.roller]]\nname = \"r\"\ndiameter_mm = 24\ntolerance_mm = 0\n", `f.toml:9:1: tolerance_mm = 0: wanted more than 0 and at most 50 mm`},
		{"service without a part", site + "[[model]]\nmatch = \"A\"\n[[model.service]]\npages = 1\n", `f.toml:6:3: a service without a part, such as fuser or feed roller kit`},
		{"service without pages", site + "[[model]]\nmatch = \"A\"\n[[model.service]]\npart = \"fuser\"\n", `f.toml:6:3: a service without pages: wanted the life of the part in pages`},
		{"service never", site + "[[model]]\nmatch = \"A\"\n[[model.service]]\npart = \"fuser\"\npages = 0\n", `f.toml:8:1: pages = 0: wanted 1 to 100000000`},
		{"service twice", site + "[[model]]\nmatch = \"A\"\n[[model.service]]\npart = \"fuser\"\npages = 1\n[[model.service]]\npart = \"Fuser\"\npages = 2\n", `f.toml:9:3: the service for Fuser is there twice`},
		{"norm without anything", site + "[[site.norm]]\nmodel = \"A*\"\n", `f.toml:4:3: a norm that says nothing: wanted media, sides, color_mode or another setting`},
		{"norm twice", site + "[[site.norm]]\nsides = \"one-sided\"\n[[site.norm]]\ncolor_mode = \"color\"\n", `f.toml:6:3: the norm for all models is there twice`},
		{"unknown key of a norm", site + "[[site.norm]]\nduplex = true\n", `f.toml:5:1: unknown key "site.norm.duplex"`},
		{"sides", site + "[[site.norm]]\nsides = \"both\"\n", `f.toml:5:1: sides "both": wanted one of one-sided, two-sided-long-edge, two-sided-short-edge`},
		{"color mode", site + "[[site.norm]]\ncolor_mode = \"grey\"\n", `f.toml:5:1: color_mode "grey": wanted one of auto, auto-monochrome, bi-level, color, highlight, monochrome, process-bi-level, process-monochrome`},
		{"orientation of a norm", site + "[[site.norm]]\norientation = \"any\"\n", `f.toml:5:1: orientation "any": wanted one of portrait, landscape, reverse-landscape, reverse-portrait`},
		{"resolution", site + "[[site.norm]]\nresolution_dpi = 0\n", `f.toml:5:1: resolution_dpi = 0: wanted 1 to 9600`},
		{"star in the middle of a norm", site + "[[site.norm]]\nmodel = \"A * B\"\nsides = \"one-sided\"\n", `f.toml:5:1: "A * B": a * is allowed at the end only`},
		{"tray without a name", site + "[[site.norm]]\n[[site.norm.tray]]\ntype = \"stationery\"\n", `f.toml:5:3: a tray without name and index: wanted one of them`},
		{"tray with both", site + "[[site.norm]]\n[[site.norm.tray]]\nname = \"A\"\nindex = 1\ntype = \"stationery\"\n", `f.toml:5:3: a tray with name and index: wanted one of them`},
		{"tray of nothing", site + "[[site.norm]]\n[[site.norm.tray]]\nindex = 1\n", `f.toml:5:3: a tray that says nothing: wanted media, type or weight_gsm`},
		{"tray twice", site + "[[site.norm]]\n[[site.norm.tray]]\nindex = 1\ntype = \"a\"\n[[site.norm.tray]]\nindex = 1\ntype = \"b\"\n", `f.toml:8:3: the tray for 1 is there twice`},
		{"weight of paper", site + "[[site.norm]]\n[[site.norm.tray]]\nindex = 1\nweight_gsm = 0.08\n", `f.toml:7:1: weight_gsm = 0.08: wanted 10 to 1000 g/m2`},
		{"clock", "[thresholds]\nclock_off_minutes = 0\n" + site, `f.toml:2:1: clock_off_minutes = 0: wanted 1 to 10080`},
		{"certificate", "[thresholds]\ncertificate_days = 400\n" + site, `f.toml:2:1: certificate_days = 400: wanted 0 to 366`},
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
	f.Add([]byte("[report]\ndir = 'r'\nkeep_days = 1\n[[part]]\nsupply = 'toner'\nnumber = '1'\n[[model]]\nmatch = 'A*'\nroller = [{name = 'r', diameter_mm = 1e300}]\nservice = [{part = 'f', pages = 1}]\n[[site]]\nname = 'x'\ntargets = ['a']\n"))
	f.Add([]byte("[[site]]\nname = 'x'\ntargets = ['a']\n[[site.norm]]\nmodel = 'A*'\nsides = 'one-sided'\nresolution_dpi = 600\n[[site.norm.tray]]\nindex = 1\nweight_gsm = nan\n"))
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
		for _, p := range file.Catalogue.Parts {
			if p.Supply == "" || p.Number+p.Name == "" {
				t.Errorf("part %+v passed: of nothing, or without a number", p)
			}
		}
		for _, m := range file.Catalogue.Models {
			for _, r := range m.Rollers {
				if !(r.DiameterMM > 0 && r.DiameterMM <= maxDiameterMM && r.ToleranceMM > 0) {
					t.Errorf("roller %+v passed", r)
				}
			}
			for _, s := range m.Services {
				if s.Part == "" || s.Pages <= 0 {
					t.Errorf("service %+v passed", s)
				}
			}
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
