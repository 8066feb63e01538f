package discover

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"net/netip"
	"os"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"
)

// DefaultMaxAddresses is how many addresses a scope may have unless a large one
// is asked for.
const DefaultMaxAddresses = 1 << 16

// Ports of SNMP (RFC 3417 section 3.1) and IPP (RFC 8010 section 4).
const (
	DefaultSNMPPort = 161
	DefaultIPPPort  = 631
)

// maxTargetFile is the largest file of targets that is read, in bytes.
const maxTargetFile = 4 << 20

// resolveTimeout bounds the look-up of one host name.
const resolveTimeout = 5 * time.Second

// ParseOptions are what turning arguments into a scope needs.
type ParseOptions struct {
	Skip        []string // never part of the scope; the forms of targets, IPv6 prefixes too
	AllowPublic bool
	Large       bool   // allow more than DefaultMaxAddresses
	SNMPPort    uint16 // 0: DefaultSNMPPort
	IPPPort     uint16 // 0: DefaultIPPPort
	// Resolve looks up a host name; nil: the system's resolver.
	Resolve func(ctx context.Context, host string) ([]netip.Addr, error)
	// ReadFile reads a file named by @file; nil: the file system.
	ReadFile func(name string) ([]byte, error)
}

// Parse turns arguments into a scope. A target is an address, a range with both
// ends in full (10.1.2.10-10.1.2.40), an IPv4 subnet (10.1.2.0/24; its network
// and broadcast addresses are left out), an IPv6 address, a host name, or
// @file with one target a line and comments after #.
//
// A target that cannot be meant is an error and there is no scope. A host name
// that is unknown and a file that cannot be read or is empty are problems: the
// other targets stand. What must be skipped and cannot be understood or looked
// up is always an error. An address that several targets name belongs to the
// first of them.
func Parse(ctx context.Context, args []string, o ParseOptions) (*Scope, []Problem, error) {
	if o.SNMPPort == 0 {
		o.SNMPPort = DefaultSNMPPort
	}
	if o.IPPPort == 0 {
		o.IPPPort = DefaultIPPPort
	}
	if o.Resolve == nil {
		o.Resolve = systemResolve
	}
	if o.ReadFile == nil {
		o.ReadFile = readTargetFile
	}
	p := &parser{ctx: ctx, o: o}
	for _, a := range o.Skip {
		if err := p.add(a, true); err != nil {
			return nil, p.problems, fmt.Errorf("skip list: %w", err)
		}
	}
	if len(p.problems) > 0 {
		return nil, nil, fmt.Errorf("skip list: %s", p.problems[0].Message)
	}
	for _, a := range args {
		if err := p.add(a, false); err != nil {
			return nil, p.problems, err
		}
	}
	s, err := p.scope()
	return s, p.problems, err
}

// parser collects targets.
type parser struct {
	ctx      context.Context
	o        ParseOptions
	four     []interval
	six      []span
	skip6    []netip.Prefix
	targets  []string
	problems []Problem
}

// add takes one argument, which may name a file.
func (p *parser) add(arg string, skip bool) error {
	arg = strings.TrimSpace(arg)
	name, isFile := strings.CutPrefix(arg, "@")
	if !isFile {
		return p.target(arg, skip)
	}
	if name == "" {
		return errors.New(`"@": no file name; write @FILE with one target a line`)
	}
	data, err := p.o.ReadFile(name)
	if err != nil {
		p.problem("", "file", fmt.Sprintf("%s: %s; check the name and the permissions", clip(arg), cause(err)))
		return nil
	}
	arg = clip(arg)
	found := false
	for i, line := range strings.Split(strings.TrimPrefix(string(data), "\ufeff"), "\n") {
		line, _, _ = strings.Cut(line, "#")
		if line = strings.TrimSpace(line); line == "" {
			continue
		}
		found = true
		if strings.HasPrefix(line, "@") {
			return fmt.Errorf("%s line %d: a file of targets cannot name another one; list its targets", clip(arg), i+1)
		}
		if err := p.target(line, skip); err != nil {
			return fmt.Errorf("%s line %d: %w", clip(arg), i+1, err)
		}
	}
	if !found {
		p.problem("", "file", arg+": no targets in the file; write one address, range, subnet or host name a line")
	}
	return nil
}

// target takes one target that is no file.
func (p *parser) target(arg string, skip bool) error {
	literal := strings.TrimSuffix(strings.TrimPrefix(arg, "["), "]")
	if a, err := netip.ParseAddr(literal); err == nil && (a.Zone() == "" || printable(a.Zone())) {
		return p.addr(arg, a.Unmap(), skip)
	}
	switch {
	case arg == "":
		return errors.New("a target is empty; give an address, a range, a subnet or a host name")
	case strings.Contains(arg, "://"):
		return fmt.Errorf("%s: a URL is no target; give the host name or the address alone", clip(arg))
	case strings.Contains(arg, "/"):
		return p.prefix(arg, skip)
	case isRange(arg):
		return p.rangeOf(arg, skip)
	case hasPort(arg):
		return fmt.Errorf("%s: a target has no port; set ports with --snmp-port and --ipp-port", clip(arg))
	case !isHostName(arg):
		return fmt.Errorf("%s: no address, range, subnet or host name; write 10.1.2.3, 10.1.2.10-10.1.2.40, 10.1.2.0/24 or a name", clip(arg))
	}
	return p.host(arg, skip)
}

func (p *parser) addr(arg string, a netip.Addr, skip bool) error {
	if why := notADevice(a); why != "" && !skip {
		return fmt.Errorf("%s: %s", clip(arg), why)
	}
	if !skip && a.Is6() && a.IsLinkLocalUnicast() && a.Zone() == "" {
		return fmt.Errorf("%s: a link-local address needs its interface; write %s%%INTERFACE", clip(arg), clip(a.String()))
	}
	if !skip && !p.o.AllowPublic && !private(a, a) {
		return refusePublic(arg)
	}
	p.put(arg, a, skip)
	return nil
}

func (p *parser) prefix(arg string, skip bool) error {
	pre, err := netip.ParsePrefix(arg)
	if err != nil {
		return fmt.Errorf("%s: no subnet; write an address and its prefix length, such as 10.1.2.0/24", clip(arg))
	}
	if pre != pre.Masked() {
		return fmt.Errorf("%s: the address has bits beyond the prefix length; write %s for the subnet, or %s for the one address",
			arg, pre.Masked(), pre.Addr())
	}
	a := pre.Addr()
	if !a.Is4() {
		switch {
		case skip:
			p.skip6 = append(p.skip6, pre)
			return nil
		case a.Is4In6():
			return fmt.Errorf("%s: write an IPv4 subnet in IPv4 form, such as 10.1.2.0/24", clip(arg))
		case pre.IsSingleIP():
			return p.addr(arg, a, skip)
		}
		return fmt.Errorf("%s: IPv6 subnets are not swept, they have too many addresses to ask each; name the addresses, or sweep the IPv4 subnet and let DNS-SD find the rest", clip(arg))
	}
	lo := number4(a)
	hi := lo | uint32(uint64(1)<<(32-pre.Bits())-1)
	if pre.Bits() <= 30 && !skip {
		lo, hi = lo+1, hi-1 // network and broadcast address; a /31 has neither (RFC 3021)
	}
	return p.run(arg, lo, hi, skip)
}

func (p *parser) rangeOf(arg string, skip bool) error {
	left, right, _ := strings.Cut(arg, "-")
	left, right = strings.TrimSpace(left), strings.TrimSpace(right)
	lo, err1 := netip.ParseAddr(left)
	hi, err2 := netip.ParseAddr(right)
	if err1 == nil && !lo.Is4() || err2 == nil && !hi.Is4() {
		return fmt.Errorf("%s: ranges are for IPv4; name IPv6 addresses one by one", clip(arg))
	}
	if err1 != nil || err2 != nil {
		return fmt.Errorf("%s: no range; write both ends in full, such as 10.1.2.10-10.1.2.40", clip(arg))
	}
	if hi.Less(lo) {
		return fmt.Errorf("%s: the range is reversed; write %s-%s", clip(arg), hi, lo)
	}
	return p.run(arg, number4(lo), number4(hi), skip)
}

// run takes the IPv4 addresses from lo to hi.
func (p *parser) run(arg string, lo, hi uint32, skip bool) error {
	if skip {
		p.four = append(p.four, interval{lo, hi, skipped})
		return nil
	}
	if !p.o.AllowPublic && !private(addr4(lo), addr4(hi)) {
		return refusePublic(arg)
	}
	for _, a := range []netip.Addr{addr4(lo), addr4(hi)} {
		if why := notADevice(a); why != "" {
			return fmt.Errorf("%s: %s", clip(arg), why)
		}
	}
	p.four = append(p.four, interval{lo, hi, len(p.targets)})
	p.targets = append(p.targets, arg)
	return nil
}

func (p *parser) host(name string, skip bool) error {
	ctx, cancel := context.WithTimeout(p.ctx, resolveTimeout)
	defer cancel()
	addrs, err := p.o.Resolve(ctx, strings.TrimSuffix(name, "."))
	if err == nil && len(addrs) == 0 {
		err = errors.New("it has no address")
	}
	if err != nil {
		p.problem(name, "name", fmt.Sprintf("%s: host name not found: %s; check the spelling, or give the address", name, cause(err)))
		return nil
	}
	// A host is asked at one address: the first IPv4 one, else the first.
	best := addrs[0]
	for _, a := range addrs {
		if a = a.Unmap(); skip {
			p.put(name, a, true)
		} else if a.Is4() && !best.Unmap().Is4() {
			best = a
		}
	}
	if skip {
		return nil
	}
	best = best.Unmap()
	switch why := notADevice(best); {
	case why != "":
		p.problem(name, "name", fmt.Sprintf("%s: resolves to %s, %s", name, best, why))
	case !p.o.AllowPublic && !private(best, best):
		p.problem(name, "target", fmt.Sprintf("%s: resolves to the public address %s, which is not asked; add --allow-public if it is yours", name, best))
	default:
		p.put(name, best, false)
	}
	return nil
}

// put takes one address that has been checked.
func (p *parser) put(arg string, a netip.Addr, skip bool) {
	owner := len(p.targets)
	if skip {
		owner = skipped
	} else {
		p.targets = append(p.targets, arg)
	}
	switch {
	case a.Is4():
		p.four = append(p.four, interval{number4(a), number4(a), owner})
	case skip:
		p.skip6 = append(p.skip6, netip.PrefixFrom(a.WithZone(""), 128))
	default:
		p.six = append(p.six, span{from: a, n: 1, snmp: p.o.SNMPPort, ipp: p.o.IPPPort, origin: owner})
	}
}

func (p *parser) problem(address, stage, message string) {
	p.problems = append(p.problems, Problem{Address: address, Stage: stage, Message: message})
}

// scope puts together what was collected.
func (p *parser) scope() (*Scope, error) {
	var spans []span
	total := uint64(0)
	for _, v := range disjoint(p.four) {
		n := uint64(v.hi) - uint64(v.lo) + 1
		total += n
		if total > MaxAddresses {
			continue
		}
		spans = append(spans, span{from: addr4(v.lo), n: int(n), snmp: p.o.SNMPPort, ipp: p.o.IPPPort, origin: v.owner})
	}
	seen := map[netip.Addr]bool{}
	for _, v := range p.six {
		if seen[v.from] || p.skips6(v.from) {
			continue
		}
		seen[v.from] = true
		total++
		spans = append(spans, v)
	}
	switch {
	case total > MaxAddresses:
		return nil, fmt.Errorf("the targets have %d addresses, more than the %d that one survey can hold; survey them in parts", total, MaxAddresses)
	case total > DefaultMaxAddresses && !p.o.Large:
		return nil, fmt.Errorf("the targets have %d addresses, more than %d; check the prefix lengths, or add --large", total, DefaultMaxAddresses)
	case total == 0 && len(p.targets) > 0:
		return nil, errors.New("every target is in the skip list; nothing is left to ask")
	}
	return newScope(spans, p.targets), nil
}

func (p *parser) skips6(a netip.Addr) bool {
	for _, pre := range p.skip6 {
		if pre.Contains(a.WithZone("")) {
			return true
		}
	}
	return false
}

func refusePublic(arg string) error {
	return fmt.Errorf("%s: public addresses are not asked; check the target, or add --allow-public if they are yours", clip(arg))
}

// clip makes an argument fit to be repeated in an error: short, and quoted when
// it holds anything that is not printed as it is.
func clip(s string) string {
	if len(s) > 80 {
		s = s[:80] + "..."
	}
	if !printable(s) {
		return strconv.Quote(s)
	}
	return s
}

func printable(s string) bool {
	return utf8.ValidString(s) && !strings.ContainsFunc(s, func(r rune) bool { return !unicode.IsPrint(r) })
}

// cause is the innermost text of an error, without what the message around it
// says already.
func cause(err error) string {
	if e, ok := errors.AsType[*net.DNSError](err); ok {
		if e.IsTimeout {
			return "the name server did not answer"
		}
		return e.Err
	}
	if e, ok := errors.AsType[*os.PathError](err); ok {
		return e.Err.Error()
	}
	return err.Error()
}

func systemResolve(ctx context.Context, host string) ([]netip.Addr, error) {
	return net.DefaultResolver.LookupNetIP(ctx, "ip", host)
}

func readTargetFile(name string) ([]byte, error) {
	f, err := os.Open(name)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	data, err := io.ReadAll(io.LimitReader(f, maxTargetFile+1))
	if err == nil && len(data) > maxTargetFile {
		err = fmt.Errorf("larger than %d MiB", maxTargetFile>>20)
	}
	return data, err
}
