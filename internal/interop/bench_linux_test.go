package interop

import (
	"bytes"
	"context"
	"encoding/csv"
	"fmt"
	"net/netip"
	"os"
	"os/exec"
	"syscall"
	"testing"
	"time"

	"printround/internal/lab"
	"printround/internal/mib"
	"printround/internal/snmp"
)

// The benchmarks measure the program itself, as a process of its own, so that
// its memory is not that of the simulated devices:
//
//	go test -run '^$' -bench . -benchtime 1x ./internal/interop/
//
// They ask for one run each; more runs give an average.

// crowd starts simulated devices for a benchmark.
func crowd(b *testing.B, o lab.LoadOptions) *lab.Load {
	b.Helper()
	l, err := lab.StartLoad(b.Context(), o)
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { _ = l.Close() })
	return l
}

// benchmarkSurvey runs "printround sweep" over a crowd and reports the wall
// time, the processor time, the largest resident memory, and how many devices
// were missed.
func benchmarkSurvey(b *testing.B, o lab.LoadOptions, flags ...string) {
	program := tool(b)
	l := crowd(b, o)
	args := append([]string{"sweep", l.Targets()[0], "--snmp-port", fmt.Sprint(l.Port()), "--no-ipp", "--no-mdns", "--format", "csv"}, flags...)
	var missed, wall, cpu, resident float64
	for b.Loop() {
		begin := time.Now()
		rows, state := runTool(b, program, args)
		wall += time.Since(begin).Seconds()
		cpu += (state.UserTime() + state.SystemTime()).Seconds()
		if u, ok := state.SysUsage().(*syscall.Rusage); ok {
			resident = max(resident, float64(u.Maxrss)/1024)
		}
		missed += float64(o.Devices - rows)
	}
	n := float64(b.N)
	b.ReportMetric(0, "ns/op") // the seconds say it in a unit that people read
	b.ReportMetric(wall/n, "s/run")
	b.ReportMetric(cpu/n, "cpu-s/run")
	b.ReportMetric(resident, "MB-resident")
	b.ReportMetric(missed/n, "missed/run")
	b.ReportMetric(float64(o.Devices), "devices")
}

// runTool runs the program and counts the devices that it lists.
func runTool(b *testing.B, program string, args []string) (rows int, state *os.ProcessState) {
	b.Helper()
	ctx, cancel := context.WithTimeout(b.Context(), 5*time.Minute)
	defer cancel()
	cmd := exec.CommandContext(ctx, program, args...)
	var out, errs bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &errs
	if err := cmd.Run(); err != nil {
		b.Fatalf("%v: %s", err, tail(errs.String(), 5))
	}
	records, err := csv.NewReader(&out).ReadAll()
	if err != nil {
		b.Fatal(err)
	}
	return len(records) - 1, cmd.ProcessState
}

func prefix(s string) netip.Prefix { return netip.MustParsePrefix(s) }

// A /24 and a /16 of which 1 % are printers, at the pace of delivery and fast.
func BenchmarkSweep24(b *testing.B) {
	benchmarkSurvey(b, lab.LoadOptions{Devices: 3, Prefix: prefix("127.96.1.0/24")})
}

func BenchmarkSweep16(b *testing.B) {
	benchmarkSurvey(b, lab.LoadOptions{Devices: 655, Prefix: prefix("127.96.0.0/16")})
}

func BenchmarkSweep16Fast(b *testing.B) {
	benchmarkSurvey(b, lab.LoadOptions{Devices: 655, Prefix: prefix("127.96.0.0/16")}, "--pace", "20000")
}

// A thousand full devices that take 2 or 20 ms for each answer.
func BenchmarkThousandDevices2ms(b *testing.B) {
	benchmarkSurvey(b, lab.LoadOptions{Devices: 1000, Prefix: prefix("127.96.0.0/21"), Delay: 2 * time.Millisecond})
}

func BenchmarkThousandDevices20ms(b *testing.B) {
	benchmarkSurvey(b, lab.LoadOptions{Devices: 1000, Prefix: prefix("127.96.0.0/21"), Delay: 20 * time.Millisecond})
}

// One full device, read in this process: round trips and octets.
func BenchmarkFullDevice(b *testing.B) {
	l := crowd(b, lab.LoadOptions{Devices: 1, Prefix: prefix("127.96.1.0/24")})
	at := netip.AddrPortFrom(l.Addr(0), uint16(l.Port()))
	var stats snmp.Stats
	for b.Loop() {
		session, err := snmp.Open(b.Context(), at, named("public"), snmp.Options{})
		if err != nil {
			b.Fatal(err)
		}
		if _, err := mib.Read(b.Context(), session); err != nil {
			b.Fatal(err)
		}
		stats = session.Stats()
		_ = session.Close()
	}
	b.ReportMetric(float64(stats.RoundTrips), "round-trips")
	b.ReportMetric(float64(stats.Values), "values")
	b.ReportMetric(float64(stats.BytesIn), "B-answered")
}
