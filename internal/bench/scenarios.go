package main

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"net/netip"
	"os/exec"
	"strings"
	"time"

	"printround/internal/lab"
	"printround/internal/survey"
)

// scenario is one thing that is measured.
type scenario struct {
	name, about string
	slow        bool // takes too long for --quick
	run         func(context.Context, *bench) ([]row, error)
}

// Of every sweep by default: three passes, and five seconds of listening.
const (
	passes      = 3
	listen      = 5.0
	defaultPace = 2000
)

var scenarios = []scenario{
	{"idle", "one device: what the program itself takes", false, idle},
	{"fast16", "a /16 of which 1 % are printers, 20,000 probes a second", false, sparse(20000)},
	{"naive", "the same, a sample, with 256 workers and one connection of the library for each address", false, runNaive},
	{"silent16", "a silent /16, 50,000 probes a second", false, silent},
	{"rate", "262,142 silent addresses once, 60,000 probes a second allowed", false, rate},
	{"default16", "a /16 of which 1 % are printers, the default pace", true, sparse(defaultPace)},
	{"attached20", "an attached /20 with 42 hosts and nobody else", false, attached(42, false)},
	{"attached20all", "an attached /20 with a host at every address", true, attached(4094, true)},
	{"loss5", "5 % of the datagrams lost each way, default passes", false, loss(0.05, 2)},
	{"loss20", "20 % lost each way, --retries 6", true, loss(0.2, 6)},
	{"rough", "2 % lost, 5 % doubled, half of the answers out of order", false, rough},
	{"device20", "one full device, 20 ms away", false, single(20 * time.Millisecond)},
	{"device100", "one full device, 100 ms away", false, single(100 * time.Millisecond)},
	{"thousand", "1,000 full devices, 20 ms away, all answer", false, fleet(1000, 20*time.Millisecond)},
	{"thousand1", "1,000 full devices, 20 ms away, and one silent address", false, withOneSilent},
	{"tenthousand", "10,000 full devices, 20 ms away", true, fleet(10000, 20*time.Millisecond)},
	{"hundredthousand", "100,000 full devices, 2 ms away, to CSV", true, fleet(100000, 2*time.Millisecond)},
	{"render", "10,000 devices judged, ranked and written", false, render},
}

const timeForOne = 10 * time.Minute

func (b *bench) play(ctx context.Context, s stage) (measured, error) {
	var m measured
	s.Limit, s.Own = timeForOne, b.own
	err := b.start(ctx, true, "stage", s, &m)
	for _, r := range m.Runs {
		if err == nil && r.Exit != 0 {
			err = fmt.Errorf("the program ended with %d: %s", r.Exit, strings.TrimSpace(r.Said))
		}
	}
	return m, err
}

// sweep is printround's command line for a crowd.
func (b *bench) sweep(target string, lab int, flags ...string) program {
	args := []string{"sweep", target, "--snmp-port", fmt.Sprintf("%%%d%%", lab), "--no-ipp", "--no-mdns", "--format", "csv"}
	return program{b.tool, append(args, flags...)}
}

// rowOf fills in what every scenario measures.
func rowOf(m measured, addresses, expected int) row {
	r := row{Addresses: addresses, Expected: expected, Packets: max(m.Packets, 0)}
	for _, one := range m.Runs {
		r.Found += one.Rows
		r.Wall = max(r.Wall, one.Wall)
		r.CPU += one.CPU
		r.RSS = max(r.RSS, float64(one.RSS)/(1<<20))
	}
	var all counted
	for _, l := range m.Labs {
		all.Requests += l.Requests
		all.Answers += l.Answers
		all.Octets += l.Octets
	}
	if expected > 0 {
		n := all.Answers
		if n == 0 {
			n = all.Requests // each is answered
		}
		r.RoundTrips = float64(n) / float64(expected)
		r.Bytes = float64(all.Octets) / float64(expected)
	}
	return r
}

// inTime adds the aim for the time of a sweep: addresses, passes, pace and the
// last listening, and 15 % more.
func (r *row) inTime(rounds int, pace float64) {
	floor := float64(r.Addresses)*float64(rounds)/pace + listen
	r.atMost("wall s", r.Wall, 1.15*floor, fmt.Sprintf("the packets and the last listening take %.1f s", floor))
}

func (r *row) allFound() {
	r.atLeast("found", float64(r.Found), float64(r.Expected), "")
}

const wide = "127.96.0.0/16"

// idle measures the program itself, with the least there is to do.
func idle(ctx context.Context, b *bench) ([]row, error) {
	m, err := b.play(ctx, stage{
		Labs:     []crowd{{Devices: 1, Prefix: "127.96.1.0/24"}},
		Programs: []program{b.sweep("127.96.1.1", 0)},
	})
	return []row{rowOf(m, 1, 1)}, err
}

func sparse(pace int) func(context.Context, *bench) ([]row, error) {
	return func(ctx context.Context, b *bench) ([]row, error) {
		const printers = 655
		m, err := b.play(ctx, stage{
			Labs:     []crowd{{Devices: printers, Prefix: wide}},
			Programs: []program{b.sweep(wide, 0, "--pace", fmt.Sprint(pace))},
		})
		r := rowOf(m, 65534, printers)
		r.RoundTrips = 0 // of the reading; not what this is about
		r.allFound()
		r.inTime(passes, float64(pace))
		r.atMost("MB", r.RSS, 64, "")
		return []row{r}, err
	}
}

func silent(ctx context.Context, b *bench) ([]row, error) {
	const pace = 50000
	m, err := b.play(ctx, stage{
		Labs:     []crowd{{Devices: 1, Prefix: "127.95.0.0/24"}},
		Programs: []program{b.sweep(wide, 0, "--pace", fmt.Sprint(pace))},
	})
	err = forgive(err, m, 5)
	r := rowOf(m, 65534, 0)
	r.inTime(passes, pace)
	r.atMost("MB", r.RSS, 64, "")
	return []row{r}, err
}

// forgive takes an exit status that a scenario is meant to end with.
func forgive(err error, m measured, status int) error {
	if err == nil || len(m.Runs) == 0 {
		return err
	}
	for _, r := range m.Runs {
		if r.Exit != status {
			return err
		}
	}
	return nil
}

func rate(ctx context.Context, b *bench) ([]row, error) {
	m, err := b.play(ctx, stage{
		Labs:     []crowd{{Devices: 1, Prefix: "127.95.0.0/24"}},
		Programs: []program{b.sweep("127.96.0.0/14", 0, "--pace", "60000", "--retries", "0", "--large")},
	})
	err = forgive(err, m, 5)
	r := rowOf(m, 262142, 0)
	r.atLeast("probes a second", float64(r.Addresses)/max(r.Wall-listen, 0.01), 50000, "the lab does not answer, so this is the sender and the system alone")
	return []row{r}, err
}

// runNaive sweeps a sample with the yardstick and scales it up: its time is in
// proportion to the addresses, 256 of which it waits for at once.
func runNaive(ctx context.Context, b *bench) ([]row, error) {
	const sample, of, printers = 1024, 65534, 655
	n := naive{First: "127.96.0.1", Addresses: sample, Port: 0, Pace: 20000, Workers: 256, Timeout: 2 * time.Second, Retries: passes - 1}
	text, err := json.Marshal(n)
	if err != nil {
		return nil, err
	}
	m, err := b.play(ctx, stage{
		Labs:     []crowd{{Devices: printers, Prefix: wide}},
		Programs: []program{{b.self, []string{"naive", strings.Replace(string(text), `"Port":0`, `"Port":%0%`, 1)}}},
	})
	r := rowOf(m, of, printers)
	const times = float64(of) / sample
	r.Found, r.Wall, r.CPU, r.Packets = int(math.Round(float64(r.Found)*times)), r.Wall*times, r.CPU*times, int64(float64(r.Packets)*times)
	r.RoundTrips, r.Scaled = 0, true
	r.Note = fmt.Sprintf("from the first %d addresses; SNMPv2c only; it does not read what it finds", sample)
	return []row{r}, err
}

func attached(hosts int, all bool) func(context.Context, *bench) ([]row, error) {
	return func(ctx context.Context, b *bench) ([]row, error) {
		if !b.own {
			return nil, skipped("needs root on Linux: it makes an attached network in namespaces")
		}
		if _, err := exec.LookPath("ip"); err != nil {
			return nil, skipped("needs the program ip (iproute2)")
		}
		m, err := b.play(ctx, stage{
			Attached: true, All: all,
			Labs:     []crowd{{Devices: hosts, Prefix: attachedPrefix}},
			Programs: []program{b.sweep(attachedPrefix, 0, "--verbose")},
		})
		expected := hosts
		if all {
			expected-- // the tool's own address is in the range
		}
		r := rowOf(m, 4094, expected)
		r.allFound()
		why := ""
		if all {
			why = "a live neighbour keeps its place in the system's table for 15 to 45 s (its reachable time), and 4,093 need 1,024 places in turn: the system itself takes three such times"
		}
		r.atMost("wall s", r.Wall, 1.3*4096/1024*3, why)
		for _, one := range m.Runs {
			for line := range strings.Lines(one.Said) {
				if strings.Contains(line, "on-link") || strings.Contains(line, "table of neighbours") {
					r.Note += strings.TrimSpace(line) + "\n"
				}
			}
		}
		r.Note = strings.TrimSpace(r.Note)
		return []row{r}, err
	}
}

// loss surveys crowds of which datagrams get lost, with different seeds side by
// side: what counts is what is found, not how long it takes.
func loss(p float64, retries int) func(context.Context, *bench) ([]row, error) {
	return func(ctx context.Context, b *bench) ([]row, error) {
		const seeds, devices = 20, 250
		var s stage
		for i := range seeds {
			at := fmt.Sprintf("127.%d.0.0/24", 100+i)
			s.Labs = append(s.Labs, crowd{Devices: devices, Prefix: at, Seed: int64(i + 1), Counted: true, Path: lab.LoadPath{Loss: p}})
			s.Programs = append(s.Programs, b.sweep(at, i, "--retries", fmt.Sprint(retries)))
		}
		m, err := b.play(ctx, s)
		r := rowOf(m, seeds*254, seeds*devices)
		worst, partial := devices, 0
		for _, one := range m.Runs {
			worst = min(worst, one.Rows)
			partial += one.Partial
		}
		floor := 1 - math.Pow(1-math.Pow(1-p, 2), float64(retries+1))
		found := float64(r.Found) / float64(r.Expected)
		r.atLeast("part found", found, min(floor-0.002, 0.998), "")
		r.atLeast("part found, for good", found, 0.998, "")
		r.atMost("devices read only in part", float64(partial), 0, "")
		r.Note = fmt.Sprintf("%d seeds at once, %d devices each; at least %d found with one of them; %.4f by arithmetic", seeds, devices, worst, floor)
		return []row{r}, err
	}
}

func rough(ctx context.Context, b *bench) ([]row, error) {
	const devices = 250
	m, err := b.play(ctx, stage{
		Labs: []crowd{{Devices: devices, Prefix: "127.96.0.0/24", Delay: 5 * time.Millisecond, Seed: 7, Counted: true,
			Path: lab.LoadPath{Loss: 0.02, Duplicate: 0.05, Reorder: 0.5, Late: 60 * time.Millisecond}}},
		Programs: []program{b.sweep("127.96.0.0/24", 0)},
	})
	r := rowOf(m, 254, devices)
	r.allFound()
	for _, one := range m.Runs {
		r.atMost("devices read only in part", float64(one.Partial), 0, "")
	}
	return []row{r}, err
}

func single(delay time.Duration) func(context.Context, *bench) ([]row, error) {
	return func(ctx context.Context, b *bench) ([]row, error) {
		walk, _ := exec.LookPath("snmpbulkwalk")
		var d oneReading
		if err := b.start(ctx, true, "device", oneDevice{Delay: delay, Walk: walk}, &d); err != nil {
			return nil, err
		}
		r := row{Addresses: 1, Found: 1, Expected: 1, Wall: d.Wall, RoundTrips: float64(d.RoundTrips), Bytes: float64(d.Bytes)}
		floor := math.Ceil(float64(d.Useful)/1400) + 3
		r.atLeast("values", float64(d.Values), 350, "")
		r.atMost("round trips", float64(d.RoundTrips), floor, fmt.Sprintf("%d octets of values", d.Useful))
		r.atMost("wall s", d.Wall, 1.3*float64(d.RoundTrips)*delay.Seconds(), "")
		r.Note = fmt.Sprintf("%d values, %d octets of them, %d of answers; round trips by the floor %.0f", d.Values, d.Useful, d.Bytes, floor)
		if walk == "" {
			r.Note += "; snmpbulkwalk is not installed, so nothing to compare with"
			return []row{r}, nil
		}
		r.atLeast("times faster than snmpbulkwalk", d.Walk/d.Wall, 5, "")
		r.atMost("values that differ from the reference", float64(d.Differ+d.Missing), 0, d.Example)
		r.Note += fmt.Sprintf("; snmpbulkwalk read %d values in %.2f s", d.Walked, d.Walk)
		return []row{r}, nil
	}
}

// fleet surveys many devices that all answer: addresses in a row, each taken.
func fleet(n int, delay time.Duration) func(context.Context, *bench) ([]row, error) {
	return func(ctx context.Context, b *bench) ([]row, error) {
		prefix, target := room(n)
		flags := []string{}
		if n > 65536 {
			flags = append(flags, "--large")
		}
		m, err := b.play(ctx, stage{
			Labs:     []crowd{{Devices: n, Prefix: prefix, Delay: delay, Counted: n <= 1000}},
			Programs: []program{b.sweep(target, 0, flags...)},
		})
		r := rowOf(m, n, n)
		r.allFound()
		switch n {
		case 1000:
			r.atMost("wall s", r.Wall, 6, "")
			r.atMost("MB", r.RSS, 96, "")
		case 100000:
			r.Note = fmt.Sprintf("memory is what counts here: at most %.1f kB of each device are kept to the end, to tell devices apart and to rank them", 1000*r.RSS/float64(n))
		}
		why := ""
		if n > survey.DefaultKeep {
			why = fmt.Sprintf("beyond %d readings they are kept in a file and read back twice, 0.3 ms a device, so that memory stays level", survey.DefaultKeep)
		}
		r.atMost("CPU ms a device", 1000*r.CPU/float64(n), 1.5, why)
		return []row{r}, err
	}
}

// room is a loopback prefix that n devices fill from its first address on, and
// the range of these.
func room(n int) (prefix, target string) {
	bits := 30
	for 1<<(32-bits)-2 < n {
		bits--
	}
	first := netip.MustParseAddr("127.96.0.1").As4()
	last := uint32(first[0])<<24 | uint32(first[1])<<16 | uint32(first[2])<<8 | uint32(first[3])
	last += uint32(n - 1)
	return fmt.Sprintf("127.96.0.0/%d", bits),
		fmt.Sprintf("127.96.0.1-%s", netip.AddrFrom4([4]byte{byte(last >> 24), byte(last >> 16), byte(last >> 8), byte(last)}))
}

// withOneSilent is what the early end is worth: one address without an answer is
// waited for.
func withOneSilent(ctx context.Context, b *bench) ([]row, error) {
	prefix, target := room(1000)
	m, err := b.play(ctx, stage{
		Labs:     []crowd{{Devices: 1000, Prefix: prefix, Delay: 20 * time.Millisecond, Counted: true}},
		Programs: []program{b.sweep(target, 0, "127.95.0.1")},
	})
	r := rowOf(m, 1001, 1000)
	r.allFound()
	r.Note = "a silent address is asked three times, 1 and 2 s apart, and listened to for 5 s more: printers wake slowly"
	return []row{r}, err
}

func render(ctx context.Context, b *bench) ([]row, error) {
	const devices = 10000
	var s shown
	if err := b.start(ctx, true, "render", devices, &s); err != nil {
		return nil, err
	}
	r := row{Found: devices, Expected: devices, Wall: s.Judge + s.Rank + s.Table + s.CSV + s.JSON}
	r.atMost("rank and table s", s.Rank+s.Table, 1, "")
	r.atMost("rank and CSV s", s.Rank+s.CSV, 1, "")
	r.atMost("rank and JSON s", s.Rank+s.JSON, 1, "")
	r.Note = fmt.Sprintf("judging them takes %.2f s before that, ranking %.2f s", s.Judge, s.Rank)
	return []row{r}, nil
}
