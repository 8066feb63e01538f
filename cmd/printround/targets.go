package main

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/netip"
	"os"
	"strings"
	"sync"

	"printround/internal/device"
	"printround/internal/discover"
)

const (
	defaultSNMPPort = discover.DefaultSNMPPort
	defaultIPPPort  = discover.DefaultIPPPort
)

// maxTargetFile bounds a file of targets, in bytes.
const maxTargetFile = 4 << 20

// resolver looks up each host name once: the same names occur as targets and
// as expected devices.
type resolver struct {
	mu    sync.Mutex
	known map[string]lookedUp
}

type lookedUp struct {
	addrs []netip.Addr
	err   error
}

func (r *resolver) lookup(ctx context.Context, host string) ([]netip.Addr, error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if l, ok := r.known[host]; ok {
		return l.addrs, l.err
	}
	addrs, err := net.DefaultResolver.LookupNetIP(ctx, "ip", host)
	if r.known == nil {
		r.known = map[string]lookedUp{}
	}
	r.known[host] = lookedUp{addrs, err}
	return addrs, err
}

// parseTargets turns arguments into a scope and goes on without those that
// cannot be meant: each is a problem, and the others stand. An error is about
// all targets together or about the skip list.
func parseTargets(ctx context.Context, args []string, o discover.ParseOptions) (*discover.Scope, []device.Problem, error) {
	var problems []device.Problem
	bad := func(where string, err error) {
		problems = append(problems, device.Problem{Address: where, Stage: "target", Message: err.Error()})
	}
	var good []string
	for _, arg := range args {
		if err := meant(ctx, arg, o); err != nil {
			bad(arg, err)
			continue
		}
		good = append(good, arg)
	}
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
	for _, p := range more {
		problems = append(problems, device.Problem(p))
	}
	return scope, problems, err
}

var errNoGoodLine = errors.New("none of its lines is a target")

// keepGood empties the lines of a target file that cannot be meant and reports
// each; the others keep their line numbers.
func keepGood(ctx context.Context, content []byte, o discover.ParseOptions, bad func(int, error)) ([]byte, error) {
	lines := strings.Split(strings.TrimPrefix(string(content), "\ufeff"), "\n")
	kept, dropped := 0, 0
	for i, line := range lines {
		target, _, _ := strings.Cut(line, "#")
		if target = strings.TrimSpace(target); target == "" {
			continue
		}
		err := meant(ctx, target, o)
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
	}
	if kept == 0 && dropped > 0 {
		return nil, errNoGoodLine
	}
	return []byte(strings.Join(lines, "\n")), nil
}

// meant says whether one target can be meant, without a look-up and without
// reading a file.
func meant(ctx context.Context, target string, o discover.ParseOptions) error {
	_, _, err := discover.Parse(ctx, []string{target}, discover.ParseOptions{
		AllowPublic: o.AllowPublic,
		Large:       true,
		Resolve:     func(context.Context, string) ([]netip.Addr, error) { return loopback, nil },
		ReadFile:    func(string) ([]byte, error) { return []byte(loopback[0].String()), nil },
	})
	return err
}

var loopback = []netip.Addr{netip.AddrFrom4([4]byte{127, 0, 0, 1})}
