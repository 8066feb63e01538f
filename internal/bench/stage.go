package main

import (
	"bufio"
	"context"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/netip"
	"os"
	"os/exec"
	"strconv"
	"strings"
	"sync"
	"time"

	"printround/internal/lab"
)

// stage is one scenario: simulated printers and the programs that look for them,
// all at the same time.
type stage struct {
	Own      bool // this network is that of the stage alone
	Attached bool // the printers are on a network that is directly attached
	All      bool // every address of it lives
	Labs     []crowd
	Programs []program
	Limit    time.Duration
}

// crowd are printers of one lab process.
type crowd struct {
	Devices int
	Prefix  string
	Delay   time.Duration
	Seed    int64
	Path    lab.LoadPath
	Counted bool // answers are counted, octets too
	Routed  bool
	All     bool
}

// program is what is measured: %0 in an argument is the port of the first crowd.
type program struct {
	Path string
	Args []string
}

// measured is what a stage brought.
type measured struct {
	Runs    []oneRun
	Packets int64 // sent by the programs; < 0: not known
	Labs    []counted
}

type oneRun struct {
	Wall, CPU float64 // seconds
	RSS       int64   // octets, at the most
	Rows      int     // of CSV, without the heading
	Partial   int     // of these, with a word in the column that says what is missing
	Exit      int
	Said      string // the end of standard error
}

// counted is what a lab saw.
type counted struct{ Requests, Answers, Octets int64 }

// stageRole sets the stage, runs the programs and writes what was measured.
func stageRole(ctx context.Context, arg string) error {
	var s stage
	if err := json.Unmarshal([]byte(arg), &s); err != nil {
		return err
	}
	ctx, cancel := context.WithTimeout(ctx, s.Limit)
	defer cancel()
	if s.Own {
		if err := loopbackUp(); err != nil {
			return fmt.Errorf("bringing up loopback: %w", err)
		}
	}
	var labs []*labProcess
	defer func() {
		for _, l := range labs {
			l.end()
		}
	}()
	for _, c := range s.Labs {
		c.Routed, c.All = s.Attached, s.All
		l, err := startLab(ctx, c, s.Attached)
		if err != nil {
			return err
		}
		labs = append(labs, l)
	}
	before, err := datagramsSent()
	m := measured{Packets: -1, Runs: make([]oneRun, len(s.Programs))}
	var running sync.WaitGroup
	for i, p := range s.Programs {
		running.Go(func() { m.Runs[i] = runProgram(ctx, p, labs) })
	}
	running.Wait()
	if after, again := datagramsSent(); err == nil && again == nil && s.Own {
		m.Packets = after - before
	}
	for _, l := range labs {
		c := l.end()
		m.Labs = append(m.Labs, c)
		if !s.Attached && m.Packets >= 0 {
			m.Packets -= max(c.Answers, c.Requests) // a crowd that does not count answers each request
		}
	}
	return json.NewEncoder(os.Stdout).Encode(m)
}

// labProcess is a running lab.
type labProcess struct {
	cmd   *exec.Cmd
	in    io.WriteCloser
	out   *bufio.Reader
	port  int
	once  sync.Once
	count counted
}

func startLab(ctx context.Context, c crowd, apart bool) (*labProcess, error) {
	text, err := json.Marshal(c)
	if err != nil {
		return nil, err
	}
	self, err := os.Executable()
	if err != nil {
		return nil, err
	}
	cmd := exec.CommandContext(ctx, self, "lab", string(text))
	cmd.Stderr = os.Stderr
	tie(cmd, apart)
	l := &labProcess{cmd: cmd}
	if l.in, err = cmd.StdinPipe(); err != nil {
		return nil, err
	}
	out, err := cmd.StdoutPipe()
	if err != nil {
		return nil, err
	}
	l.out = bufio.NewReader(out)
	if err := cmd.Start(); err != nil {
		return nil, err
	}
	if apart {
		err = attachNear(ctx, cmd.Process.Pid)
	}
	if err == nil {
		_, err = fmt.Fprintln(l.in, "go")
	}
	if err == nil {
		_, err = fmt.Fscanln(l.out, &l.port)
	}
	if err != nil {
		l.end()
		return nil, fmt.Errorf("starting the lab: %w", err)
	}
	return l, nil
}

// end stops the lab and returns what it saw.
func (l *labProcess) end() counted {
	l.once.Do(func() {
		_ = l.in.Close()
		_ = json.NewDecoder(l.out).Decode(&l.count)
		_ = l.cmd.Wait()
	})
	return l.count
}

// labRole waits for its network, serves until its input ends, and says what it
// saw.
func labRole(ctx context.Context, arg string) error {
	var c crowd
	if err := json.Unmarshal([]byte(arg), &c); err != nil {
		return err
	}
	in := bufio.NewReader(os.Stdin)
	if _, err := in.ReadString('\n'); err != nil {
		return nil // the stage is gone
	}
	prefix, err := netip.ParsePrefix(c.Prefix)
	if err != nil {
		return err
	}
	l, err := lab.StartLoad(ctx, lab.LoadOptions{
		Devices: c.Devices, Prefix: prefix, Delay: c.Delay, Seed: c.Seed, Path: c.Path, Routed: c.Routed || c.Counted,
	})
	if err != nil {
		return err
	}
	defer l.Close()
	if c.Routed {
		if !hasInterface(farLink) {
			return errors.New("the attached network is not there")
		}
		if err := loopbackUp(); err != nil {
			return err
		}
		var at []string
		for i := range c.Devices {
			at = append(at, l.Addr(i).String())
		}
		if err := attachFar(ctx, at, c.All); err != nil {
			return err
		}
	}
	fmt.Println(l.Port())
	_, _ = io.Copy(io.Discard, in)
	answers, octets := l.Answers()
	return json.NewEncoder(os.Stdout).Encode(counted{l.Requests(), answers, octets})
}

// sampleEvery is how often the memory of a program is looked at.
const sampleEvery = 10 * time.Millisecond

// runProgram runs and measures one program.
func runProgram(ctx context.Context, p program, labs []*labProcess) oneRun {
	args := make([]string, len(p.Args))
	for i, a := range p.Args {
		for k, l := range labs {
			a = strings.ReplaceAll(a, "%"+strconv.Itoa(k)+"%", strconv.Itoa(l.port))
		}
		args[i] = a
	}
	cmd := exec.CommandContext(ctx, p.Path, args...)
	cmd.Cancel = func() error { return cmd.Process.Signal(os.Interrupt) }
	cmd.WaitDelay = 5 * time.Second
	tie(cmd, false)
	var said strings.Builder
	cmd.Stderr = &said
	out, err := cmd.StdoutPipe()
	if err != nil {
		return oneRun{Exit: -1, Said: err.Error()}
	}
	begin := time.Now()
	if err := cmd.Start(); err != nil {
		return oneRun{Exit: -1, Said: err.Error()}
	}
	var r oneRun
	stop, sampled := make(chan struct{}), make(chan struct{})
	go func() {
		defer close(sampled)
		tick := time.NewTicker(sampleEvery)
		defer tick.Stop()
		for {
			r.RSS = max(r.RSS, peak(cmd.Process.Pid))
			select {
			case <-stop:
				return
			case <-tick.C:
			}
		}
	}()
	rows, partial := countRows(out)
	failed := cmd.Wait() // the exit status says the same, but for a pipe that broke
	close(stop)
	<-sampled
	r.Wall, r.Rows, r.Partial = time.Since(begin).Seconds(), rows, partial
	r.CPU = (cmd.ProcessState.UserTime() + cmd.ProcessState.SystemTime()).Seconds()
	r.Exit = cmd.ProcessState.ExitCode()
	if r.Said = said.String(); failed != nil && r.Exit == 0 {
		r.Exit, r.Said = -1, failed.Error()
	}
	if n := len(r.Said); n > 2000 {
		r.Said = r.Said[n-2000:]
	}
	if ctx.Err() != nil {
		r.Said = "the time for this scenario is over\n" + r.Said
	}
	return r
}

// countRows reads CSV and counts its rows, and those of devices that were not
// read to the end.
func countRows(in io.Reader) (rows, partial int) {
	r := csv.NewReader(in)
	r.FieldsPerRecord, r.ReuseRecord, r.LazyQuotes = -1, true, true
	column := -1
	for n := 0; ; n++ {
		record, err := r.Read()
		if err != nil {
			_, _ = io.Copy(io.Discard, in) // the program must not wait for a reader
			return max(n-1, 0), partial
		}
		for i, cell := range record {
			if n == 0 && cell == "snmp" {
				column = i
			}
		}
		if n > 0 && column >= 0 && column < len(record) && record[column] != "ok" {
			partial++
		}
	}
}
