package survey

import (
	"context"
	"errors"
	"fmt"
	"net/netip"
	"strings"
	"time"

	"printround/internal/device"
	"printround/internal/mib"
	"printround/internal/snmp"
)

// deliveredCommunity is what devices are delivered with (common practice, no
// source).
const deliveredCommunity = "public"

// ReadSNMP reads every printer behind one address over SNMP. The credentials
// are tried in order; the first that is answered counts. There is one view for
// each printer row of hrDeviceTable, in the order of the indices, and none for
// a host that shows no Printer MIB. What went wrong is in Problems, one line
// each, also beside views: a device that stops half-way gives a partial view.
func ReadSNMP(ctx context.Context, at netip.AddrPort, creds []snmp.Credential, o ReadOptions) SNMPResult {
	r := SNMPResult{Reach: device.SNMPReach{Tried: len(creds) > 0}}
	failed := &snmpFailures{address: at}
	for i, err := range r.tryAll(ctx, at, creds, o) {
		if err != nil {
			failed.add(creds[i], err)
		}
	}
	r.Problems = append(r.Problems, failed.problems(r.Reach.OK)...)
	for i := range r.Views {
		r.Views[i].Reached.SNMP = r.Reach
	}
	return r
}

// shortTry is how long each of several credentials waits at first: far longer
// than a device takes that is awake.
const shortTry = 500 * time.Millisecond

// tryAll tries the credentials until one is answered and returns the error of
// each. Of several, all get a short try before any gets a long one: behind two
// wrong ones the right one would wait most of the time there is for a device.
func (r *SNMPResult) tryAll(ctx context.Context, at netip.AddrPort, creds []snmp.Credential, o ReadOptions) []error {
	errs := make([]error, len(creds))
	long := snmp.Options{Timeout: o.Timeout, Retries: o.Retries, Heard: o.share.heard}
	if o.share.extra != nil {
		long.Extra = o.share.extra
	}
	rounds := []snmp.Options{long}
	if len(creds) > 1 {
		short := long
		short.First = min(o.Timeout, shortTry)
		long.Retries = max(o.Retries-1, 0) // the short try was one
		rounds = []snmp.Options{short, long}
	}
	for n, how := range rounds {
		for i, c := range creds {
			if n > 0 && !errors.Is(errs[i], snmp.ErrNoAnswer) && !errors.Is(errs[i], snmp.ErrNotAsked) && !errors.Is(errs[i], snmp.ErrMute) {
				continue
			}
			how.Log = prefixed(o.Log, at, c)
			done, err := r.try(ctx, at, c, how, o)
			errs[i] = err
			if done || ctx.Err() != nil || errors.Is(err, snmp.ErrRefused) || errors.Is(err, snmp.ErrUnreachable) || errors.Is(err, snmp.ErrNoSocket) {
				return errs
			}
		}
	}
	return errs
}

// Bounds of what one address brings.
const (
	maxSNMPPrinters = 32 // hrDeviceIndex values; external print servers have up to four ports
	maxOddities     = 3  // lines about odd answers; the others are counted
)

// try reads with one credential and reports whether it was answered.
func (r *SNMPResult) try(ctx context.Context, at netip.AddrPort, c snmp.Credential, how snmp.Options, o ReadOptions) (bool, error) {
	s, err := snmp.Open(ctx, at, c, how)
	if err != nil {
		return false, err
	}
	defer s.Close()
	facts, err := mib.ReadRows(ctx, s)
	stats := s.Stats()
	r.Reach.RoundTrips += stats.RoundTrips
	r.Reach.Bytes += stats.BytesIn
	r.Reach.Values += facts.Values
	if !s.Answered() {
		return false, err
	}
	r.Reach.Version = device.Text(s.Version().String())
	r.Reach.Credential = device.Clean(c.Label)
	r.Reach.Delivered = c.Version != snmp.V3 && c.Community.Reveal() == deliveredCommunity
	r.Indices = facts.Printers()
	if n := len(r.Indices); n > maxSNMPPrinters {
		r.Indices = r.Indices[:maxSNMPPrinters]
		r.problem(at, fmt.Sprintf("claims to be %d printers: the first %d are shown", n, maxSNMPPrinters))
	}
	r.Reach.OK = len(r.Indices) > 0
	r.Reach.Partial = facts.Partial
	for _, index := range r.Indices {
		r.Views = append(r.Views, snmpView(facts, index, o))
	}
	if n := len(facts.Problems); n > 0 && errors.Is(err, mib.ErrNotPrinter) {
		r.problem(at, fmt.Sprintf("%s; %s in its answers, the first: %s", noMIB, oddities(n), facts.Problems[0]))
		return true, nil
	}
	r.oddities(facts.Problems, at)
	if facts.Partial && err != nil {
		r.problem(at, fmt.Sprintf("stopped answering after %d values, what was read until then counts: %s", facts.Values, plain(err)))
		err = nil
	}
	return true, err
}

func (r *SNMPResult) problem(at netip.AddrPort, message string) {
	r.Problems = append(r.Problems, device.Problem{Address: at.Addr().String(), Stage: "snmp", Message: string(device.Clean(message))})
}

// oddities notes what was odd about the answers, in a few lines even when
// everything was.
func (r *SNMPResult) oddities(list []string, at netip.AddrPort) {
	for _, p := range list[:min(len(list), maxOddities)] {
		r.problem(at, p)
	}
	if n := len(list) - maxOddities; n > 0 {
		r.problem(at, fmt.Sprintf("%s more in its answers", oddities(n)))
	}
}

func oddities(n int) string {
	if n == 1 {
		return "1 oddity"
	}
	return fmt.Sprintf("%d oddities", n)
}

// noMIB is what it means that a host answers and nothing of a printer is there.
const noMIB = "answers SNMP but shows no Printer MIB: no printer, or the credential does not let it be seen"

// prefixed makes log lines say which device and credential they are about.
func prefixed(log func(string), at netip.AddrPort, c snmp.Credential) func(string) {
	if log == nil {
		return nil
	}
	return func(line string) { log(fmt.Sprintf("%s: SNMP %s %q: %s", at, c.Version, c.Label, line)) }
}

// snmpFailures turns the errors of the credentials into as few lines as say it
// all: silence is one line, whatever the number of credentials.
type snmpFailures struct {
	address netip.AddrPort
	silent  []string
	other   []device.Problem
}

func (f *snmpFailures) add(c snmp.Credential, err error) {
	label := fmt.Sprintf("%q", string(device.CleanTo(c.Label, 64)))
	switch {
	case errors.Is(err, snmp.ErrForged):
		f.line("snmp", fmt.Sprintf("%v (credential %s)", snmp.ErrForged, label))
	case errors.Is(err, mib.ErrNotPrinter):
		f.line("snmp", noMIB)
	case errors.Is(err, snmp.ErrNoAnswer):
		f.silent = append(f.silent, label)
	case errors.Is(err, snmp.ErrUnreachable):
		f.line("route", plain(err))
	case errors.Is(err, snmp.ErrNoSocket):
		f.line(ownLimit, plain(err))
	case errors.Is(err, snmp.ErrRefused):
		f.line("snmp", fmt.Sprintf("UDP port %d: %s", f.address.Port(), plain(err)))
	case errors.Is(err, context.Canceled), errors.Is(err, context.DeadlineExceeded):
		f.line("snmp", "reading was cut short: "+plain(err))
	default:
		f.line("snmp", fmt.Sprintf("credential %s: %s", label, plain(err)))
	}
}

// plain drops what the reader wraps around the cause.
func plain(err error) string {
	text := strings.TrimPrefix(err.Error(), "reading the Printer MIB: ")
	return string(device.CleanTo(text, 300))
}

func (f *snmpFailures) line(stage, message string) {
	f.other = append(f.other, device.Problem{Address: f.address.Addr().String(), Stage: stage, Message: message})
}

// problems returns the lines. Credentials that were met with silence are none
// of them when another one was answered.
func (f *snmpFailures) problems(answered bool) []device.Problem {
	if len(f.silent) > 0 && !answered {
		f.line("snmp", fmt.Sprintf("UDP port %d: %v (tried credential %s)", f.address.Port(), snmp.ErrNoAnswer, strings.Join(f.silent, ", ")))
	}
	return f.other
}
