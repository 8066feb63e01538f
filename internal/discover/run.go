package discover

import (
	"context"
	"errors"
	"fmt"
	"math"
	"net"
	"net/netip"
	"sync"
	"time"
)

// progressEvery is how often progress is reported.
const progressEvery = 100 * time.Millisecond

// Run looks for devices in a scope: an SNMP sweep, a probe of the IPP port of
// hosts that SNMP did not show to be printers, and a browse for DNS-SD services,
// side by side. Candidates go to found as they come; Run never closes it.
//
// It returns when all three are done. If the context ends first it returns what
// is known with the context's error. That one of the three was impossible is a
// problem or a note in Stats, not an error.
func Run(ctx context.Context, cfg Config, found chan<- Candidate) (Stats, error) {
	if cfg.Scope == nil {
		return Stats{}, errors.New("discovery without a scope")
	}
	if cfg.Pace <= 0 {
		cfg.Pace = DefaultPace
	}
	r := &run{
		cfg: cfg, table: newTable(cfg.Scope.Len()), count: newCounters(cfg.Scope.Len()), out: newEmitter(),
	}
	for _, a := range cfg.Expected {
		if i, ok := cfg.Scope.Find(a); ok {
			r.table.add(i, expected)
		}
	}
	return r.all(ctx, found)
}

// run is one discovery run.
type run struct {
	cfg   Config
	table *table
	count *counters
	out   *emitter

	mu       sync.Mutex
	notes    []string
	problems []Problem
}

func (r *run) all(ctx context.Context, found chan<- Candidate) (Stats, error) {
	var passing, progressing sync.WaitGroup
	passing.Go(func() { r.out.run(ctx, found) })
	stopProgress := make(chan struct{})
	if r.cfg.Progress != nil {
		progressing.Go(func() { r.progress(stopProgress) })
	}

	var work sync.WaitGroup
	if !r.cfg.NoMDNS {
		work.Go(func() {
			b := newBrowser(r.cfg.Scope, r.table, r.count, r.out.put, r.cfg.Log)
			r.note(b.run(ctx, r.cfg.Interfaces)...)
		})
	}
	dial := r.cfg.Dial
	if dial == nil {
		dial = (&net.Dialer{}).DialContext
	}
	probe := newProber(r.cfg.Scope, r.table, r.count, dial, r.cfg.ProbeRate, r.out.put)
	if !r.cfg.NoIPP {
		work.Go(func() {
			probe.run(ctx)
			r.note(probe.notes()...)
		})
	}
	if !r.cfg.NoSNMP {
		r.sweep(ctx, probe)
	}
	probe.finish()
	work.Wait()
	r.out.finish()
	passing.Wait()
	close(stopProgress)
	progressing.Wait()

	s := r.count.stats(r.cfg.Scope, r.table)
	s.Notes, s.Problems = r.notes, r.problems
	return s, ctx.Err()
}

// sweep runs the SNMP sweep.
func (r *run) sweep(ctx context.Context, probe *prober) {
	scope := r.cfg.Scope
	if len(r.cfg.Credentials) == 0 {
		r.note("SNMP was not asked: there is no credential")
		return
	}
	if n := len(r.cfg.Credentials); n > MaxCredentials {
		r.note(fmt.Sprintf("SNMP: of %d credentials the first %d are tried on silent addresses", n, MaxCredentials))
	}
	four, six := scope.families()
	if !four && !six {
		return
	}
	attached := attachedNetwork()
	near := attached.count(scope)
	w, err := openWire(four, six, near > 0)
	if err != nil {
		r.problem(Problem{Stage: "snmp", Message: err.Error()})
		return
	}
	defer w.close()
	if safe := safePace(w.receiveRoom()); safe < r.cfg.Pace {
		r.note(fmt.Sprintf("SNMP: this system gives a socket only %d kB to receive, so at most %d probes are sent a second", w.receiveRoom()>>10, safe))
		r.cfg.Pace = safe
	}
	s := newSweep(r.cfg, w, r.table, r.count)
	s.emit, s.suspect, s.firstOut = r.out.put, probe.suspect, probe.trySilent
	if near > 0 {
		pace, room := onLink(r.cfg.Pace)
		s.attach(attached.onLink, pace, room)
		s.links = attached.down(scope)
		r.logf("sweep: %d of %d addresses are on-link and get at most %d probes a second", near, scope.Len(), pace)
	}
	_ = s.run(ctx) // the context's own error is returned by Run
	r.note(s.notes...)
	r.problem(s.problems...)
}

// safePace is the pace at which the answers to a moment's probes fit the room
// of a socket, if every one is answered; 0 octets: not known.
func safePace(room int) int {
	if room <= 0 {
		return math.MaxInt
	}
	const moment = 20 // of a second
	return max(room/keptPacket*moment, DefaultPace/10)
}

func (r *run) progress(stop <-chan struct{}) {
	tick := time.NewTicker(progressEvery)
	defer tick.Stop()
	for {
		select {
		case <-tick.C:
			r.cfg.Progress(r.count.progress())
		case <-stop:
			r.cfg.Progress(r.count.progress())
			return
		}
	}
}

func (r *run) note(lines ...string) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.notes = append(r.notes, lines...)
}

func (r *run) problem(p ...Problem) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.problems = append(r.problems, p...)
}

func (r *run) logf(format string, args ...any) {
	if r.cfg.Log != nil {
		r.cfg.Log(fmt.Sprintf(format, args...))
	}
}

// logLine says what the sweep made of a host.
func logLine(a netip.Addr, kind Kind, reason string, way *variant) string {
	if reason != "" {
		reason = ": " + reason
	}
	return fmt.Sprintf("sweep: %s answered SNMP version %s: %s%s", a, way.version, kind, reason)
}
