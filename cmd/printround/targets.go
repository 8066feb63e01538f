package main

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/netip"
	"os"
	"slices"
	"strings"
	"sync"
	"time"

	"golang.org/x/sync/errgroup"

	"printround/internal/device"
	"printround/internal/discover"
)

const (
	defaultSNMPPort = discover.DefaultSNMPPort
	defaultIPPPort  = discover.DefaultIPPPort
)

// maxTargetFile bounds a file of targets, in bytes.
const maxTargetFile = 4 << 20

// lookUpFor bounds the look-up of one host name, and lookUpsAtOnce how many
// are under way: a name server that is down must not hold up a survey for each
// name in turn.
const (
	lookUpFor     = 5 * time.Second
	lookUpsAtOnce = 16
)

// resolver looks up each host name once: the same names occur as targets and
// as expected devices.
type resolver struct {
	mu    sync.Mutex
	known map[string]*lookedUp
}

type lookedUp struct {
	once  sync.Once
	addrs []netip.Addr
	err   error
}

func (r *resolver) lookup(ctx context.Context, host string) ([]netip.Addr, error) {
	r.mu.Lock()
	l := r.known[host]
	if l == nil {
		if r.known == nil {
			r.known = map[string]*lookedUp{}
		}
		l = &lookedUp{}
		r.known[host] = l
	}
	r.mu.Unlock()
	l.once.Do(func() { l.addrs, l.err = net.DefaultResolver.LookupNetIP(ctx, "ip", host) })
	return l.addrs, l.err
}

// ahead looks up several names side by side, so that a resolver which keeps
// what it knows has them at once.
func ahead(ctx context.Context, hosts []string, resolve func(context.Context, string) ([]netip.Addr, error)) {
	if len(hosts) < 2 || resolve == nil {
		return
	}
	var g errgroup.Group
	g.SetLimit(lookUpsAtOnce)
	for _, h := range hosts {
		g.Go(func() error {
			ctx, cancel := context.WithTimeout(ctx, lookUpFor)
			defer cancel()
			_, _ = resolve(ctx, h) // the error is kept for who asks
			return nil
		})
	}
	_ = g.Wait()
}

// parseTargets turns arguments into a scope and goes on without those that
// cannot be meant: each is a problem, and the others stand. An error is about
// all targets together or about the skip list.
func parseTargets(ctx context.Context, args []string, o discover.ParseOptions) (*discover.Scope, []device.Problem, error) {
	var problems []device.Problem
	bad := func(where string, err error) {
		problems = append(problems, device.Problem{Address: where, Stage: "target", Message: err.Error()})
	}
	var good, hosts []string
	for _, arg := range args {
		host, err := meant(ctx, arg, o)
		if err != nil {
			bad(arg, err)
			continue
		}
		good = append(good, arg)
		hosts = appendHost(hosts, host)
	}
	ahead(ctx, hosts, o.Resolve)
	o.ReadFile = func(name string) ([]byte, error) {
		content, err := os.ReadFile(name)
		if err != nil {
			return nil, err
		}
		if len(content) > maxTargetFile {
			return nil, fmt.Errorf("longer than %d MiB: this is no list of targets", maxTargetFile>>20)
		}
		return keepGood(ctx, content, o, func(line int, err error) { bad(fmt.Sprintf("@%s line %d", name, line), err) })
	}
	scope, more, err := discover.Parse(ctx, good, o)
	for _, q := range more {
		problems = append(problems, device.Problem(q))
	}
	return scope, problems, err
}

var errNoGoodLine = errors.New("none of its lines is a target")

// keepGood empties the lines of a target file that cannot be meant and reports
// each; the others keep their line numbers.
func keepGood(ctx context.Context, content []byte, o discover.ParseOptions, bad func(int, error)) ([]byte, error) {
	lines := strings.Split(strings.TrimPrefix(string(content), "\ufeff"), "\n")
	kept, dropped := 0, 0
	var hosts []string
	for i, line := range lines {
		target, _, _ := strings.Cut(line, "#")
		if target = strings.TrimSpace(target); target == "" {
			continue
		}
		host, err := meant(ctx, target, o)
		if err == nil && strings.HasPrefix(target, "@") {
			err = errors.New("a file of targets cannot name another one; list its targets")
		}
		if err != nil {
			bad(i+1, err)
			lines[i] = ""
			dropped++
			continue
		}
		kept++
		hosts = appendHost(hosts, host)
	}
	ahead(ctx, hosts, o.Resolve)
	if kept == 0 && dropped > 0 {
		return nil, errNoGoodLine
	}
	return []byte(strings.Join(lines, "\n")), nil
}

// meant says whether one target can be meant, without a look-up and without
// reading a file, and which host name it is, if it is one.
func meant(ctx context.Context, target string, o discover.ParseOptions) (host string, err error) {
	_, _, err = discover.Parse(ctx, []string{target}, discover.ParseOptions{
		AllowPublic: o.AllowPublic,
		Large:       true,
		Resolve: func(_ context.Context, name string) ([]netip.Addr, error) {
			host = name
			return loopback, nil
		},
		ReadFile: func(string) ([]byte, error) { return []byte(loopback[0].String()), nil },
	})
	return host, err
}

func appendHost(hosts []string, host string) []string {
	if host == "" {
		return hosts
	}
	return appendNew(hosts, host)
}

var loopback = []netip.Addr{netip.AddrFrom4([4]byte{127, 0, 0, 1})}

func appendNew[T comparable](list []T, v T) []T {
	if slices.Contains(list, v) {
		return list
	}
	return append(list, v)
}
