package main

import (
	"context"
	"net/netip"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"printround/internal/device"
	"printround/internal/discover"
	"printround/internal/site"
)

const twoSites = `
horizon_days = 21
[thresholds]
waste_low = 15
[[site]]
name = "North"
targets = ["10.0.1.0/24"]
skip = ["10.0.1.200-10.0.1.220"]
expected_media = ["iso_a4_210x297mm"]
  [[site.credential]]
  label = "north"
  version = "2c"
  community_env = "NORTH"
  [[site.device]]
  address = "10.0.1.5"
  name = "Front desk"
  [[site.device]]
  key = "serial:a:9"
[[site]]
name = "South"
targets = ["10.0.2.0/24"]
  [[site.credential]]
  label = "south"
  version = "2c"
  community_env = "SOUTH"
  [[site.device]]
  address = "10.0.7.7"
  name = "Shed"
`

// planOf returns the plan of a command line with the site file above.
func planOf(t *testing.T, file string) *plan {
	t.Helper()
	a, _ := testApp(t)
	a.lookupEnv = func(name string) (string, bool) { return "community-" + strings.ToLower(name), true }
	p := &plan{
		a: a, reach: &reachFlags{snmpPort: 161, ippPort: 631, pace: 1000, concurrency: 8}, choose: &chooseFlags{}, show: &showFlags{},
	}
	if file != "" {
		path := filepath.Join(t.TempDir(), "printround.toml")
		if err := os.WriteFile(path, []byte(file), 0o600); err != nil {
			t.Fatal(err)
		}
		var err error
		if p.file, err = site.Load(path); err != nil {
			t.Fatal(err)
		}
	}
	return p
}

// outline says of each job what matters here.
func outline(jobs []job) []string {
	var out []string
	for _, j := range jobs {
		words := []string{"site " + j.options.Site, "targets " + strings.Join(j.scope.Targets(), " ")}
		for _, c := range j.options.Credentials {
			words = append(words, "credential "+c.Label)
		}
		for _, e := range j.options.Expected {
			words = append(words, "expects "+first(e.Address, e.Key))
		}
		out = append(out, strings.Join(words, ", "))
	}
	return out
}

func TestJobs(t *testing.T) {
	tests := []struct {
		name string
		file string
		args []string
		want []string
	}{
		{"no site file", "", []string{"10.0.1.5", "10.0.3.0/30"}, []string{
			"site , targets 10.0.1.5 10.0.3.0/30, credential default",
		}},
		{"all sites", twoSites, nil, []string{
			"site North, targets 10.0.1.0/24, credential north, expects 10.0.1.5, expects serial:a:9",
			"site South, targets 10.0.2.0/24 10.0.7.7, credential south, expects 10.0.7.7",
		}},
		{"part of one site keeps its name and what it can miss", twoSites, []string{"10.0.1.0/28"}, []string{
			"site North, targets 10.0.1.0/28, credential north, expects 10.0.1.5",
		}},
		{"a whole site misses all of its devices", twoSites, []string{"10.0.1.0/24"}, []string{
			"site North, targets 10.0.1.0/24, credential north, expects 10.0.1.5, expects serial:a:9",
		}},
		{"an expected device outside the targets is the site's", twoSites, []string{"10.0.7.7"}, []string{
			"site South, targets 10.0.7.7, credential south, expects 10.0.7.7",
		}},
		{"no credential leaves its site", twoSites, []string{"10.0.1.254-10.0.2.1", "10.0.9.9"}, []string{
			"site North, targets 10.0.1.254, credential north",
			"site South, targets 10.0.2.1, credential south",
			"site , targets 10.0.1.255-10.0.2.0 10.0.9.9, credential default",
		}},
		{"skip lists always hold", twoSites, []string{"10.0.1.199-10.0.1.221"}, []string{
			"site North, targets 10.0.1.199-10.0.1.221, credential north",
		}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			p := planOf(t, tt.file)
			jobs, err := p.jobs(context.Background(), tt.args)
			if err != nil {
				t.Fatal(err)
			}
			if diff := cmp.Diff(tt.want, outline(jobs)); diff != "" {
				t.Errorf("jobs (-want +got):\n%s", diff)
			}
			if len(p.problems) > 0 {
				t.Errorf("problems: %v", p.problems)
			}
		})
	}
}

func TestJobsSkip(t *testing.T) {
	p := planOf(t, twoSites)
	p.choose.skip = []string{"10.0.1.199"}
	jobs, err := p.jobs(context.Background(), []string{"10.0.1.198-10.0.1.221"})
	if err != nil {
		t.Fatal(err)
	}
	var got []netip.Addr
	for i := range jobs[0].scope.Len() {
		got = append(got, jobs[0].scope.At(i).Addr)
	}
	if want := addrs("10.0.1.198", "10.0.1.221"); !slices.Equal(got, want) {
		t.Errorf("asked %v, want %v", got, want)
	}
}

func TestJobTakesTheSiteFile(t *testing.T) {
	p := planOf(t, twoSites)
	jobs, err := p.jobs(context.Background(), nil)
	if err != nil {
		t.Fatal(err)
	}
	o := jobs[0].judge
	if o.HorizonDays != 21 || o.WasteLow != 15 || !slices.Equal(o.ExpectedMedia, []string{"iso_a4_210x297mm"}) {
		t.Errorf("judged by %+v", o)
	}
	if o.ConsumableLow != 10 || o.LongLifeLow != 5 {
		t.Errorf("thresholds that the file does not name changed: %+v", o)
	}
	if jobs[1].judge.ExpectedMedia != nil {
		t.Errorf("South expects the media of North: %v", jobs[1].judge.ExpectedMedia)
	}
	if got := jobs[0].options.Credentials[0].Community.Reveal(); got != "community-north" {
		t.Errorf("community %q", got)
	}
}

func TestNoCredentialIsNeverGuessed(t *testing.T) {
	p := planOf(t, twoSites)
	p.a.lookupEnv = func(string) (string, bool) { return "", false }
	jobs, err := p.jobs(context.Background(), nil)
	if err != nil {
		t.Fatal(err)
	}
	for _, j := range jobs {
		if len(j.options.Credentials) != 0 || !j.options.NoSNMP || !j.options.Discover.NoSNMP {
			t.Errorf("%s: %d credentials, SNMP off: %v", j.options.Site, len(j.options.Credentials), j.options.NoSNMP)
		}
	}
	if len(p.problems) != 2 {
		t.Errorf("problems: %v, want one for each site", p.problems)
	}
}

func TestBadTargetsLeaveTheOthers(t *testing.T) {
	p := planOf(t, "")
	list := filepath.Join(t.TempDir(), "list.txt")
	if err := os.WriteFile(list, []byte("\ufeff# head\n10.0.0.1\r\n10.0.0.9-10.0.0.2\n@other.txt\n10.0.0.2 # tail\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	jobs, err := p.jobs(context.Background(), []string{"10.0.0.7/24", "@" + list, "10.0.0.3"})
	if err != nil {
		t.Fatal(err)
	}
	if got, want := jobs[0].scope.Targets(), []string{"10.0.0.1", "10.0.0.2", "10.0.0.3"}; !slices.Equal(got, want) {
		t.Errorf("targets %v, want %v", got, want)
	}
	var where []string
	for _, q := range p.problems {
		where = append(where, q.Address)
		if q.Stage != "target" {
			t.Errorf("stage %q of %q", q.Stage, q.Message)
		}
	}
	want := []string{"10.0.0.7/24", "@" + list + " line 3", "@" + list + " line 4"}
	if diff := cmp.Diff(want, where); diff != "" {
		t.Errorf("problems (-want +got):\n%s", diff)
	}
}

func TestWithin(t *testing.T) {
	whole := discover.NewScope([]discover.Target{{Addr: netip.MustParseAddr("10.0.0.1")}, {Addr: netip.MustParseAddr("10.0.0.2")}})
	part := discover.NewScope([]discover.Target{{Addr: netip.MustParseAddr("10.0.0.1")}})
	all := []device.Expected{{Address: "10.0.0.1"}, {Address: "10.0.0.2"}, {Key: "serial:a:1"}}
	if got := within(whole, whole, all); len(got) != 3 {
		t.Errorf("the whole site expects %v", got)
	}
	if got := within(part, whole, all); len(got) != 1 || got[0].Address != "10.0.0.1" {
		t.Errorf("part of the site expects %v", got)
	}
}
