package survey

import (
	"context"
	"errors"

	"printround/internal/device"
	"printround/internal/discover"
)

// ErrNothingToAsk means that a check was given no address.
var ErrNothingToAsk = errors.New("no address to ask")

// CheckTarget is one device to look at.
type CheckTarget struct {
	Query    string              // what the user typed, for messages
	Targets  []discover.Target   // its addresses, at least one
	Services []*discover.Service // what DNS-SD says of it; may be empty
}

// Check reads one device at its known addresses over both protocols, without a
// sweep. The survey holds every printer that answered there, several behind one
// address included; when none did, it holds one row that nothing reached, and
// its errors say for each address at which step it failed.
func Check(ctx context.Context, t CheckTarget, o Options) (*device.Survey, error) {
	return check(ctx, t, o, network)
}

func check(ctx context.Context, t CheckTarget, o Options, via readers) (*device.Survey, error) {
	if len(t.Targets) == 0 {
		return nil, ErrNothingToAsk
	}
	o.Discover.Scope = discover.NewScope(t.Targets)
	o.single = true
	o.Concurrency = 1 // several addresses of one device are not asked at once
	via.discover = announce(t)
	return run(ctx, o, via)
}

// announce stands in for discovery: it names the targets as possible printers
// and leaves it to reading to find out.
func announce(t CheckTarget) func(context.Context, discover.Config, chan<- discover.Candidate) (discover.Stats, error) {
	return func(ctx context.Context, _ discover.Config, found chan<- discover.Candidate) (discover.Stats, error) {
		news := make([]discover.Candidate, 0, len(t.Targets)+len(t.Services))
		for i, target := range t.Targets {
			for _, s := range t.Services {
				if i == 0 {
					news = append(news, discover.Candidate{Target: target, Service: s})
				}
			}
			news = append(news, discover.Candidate{Target: target, IPPOpen: true, AskSNMP: true})
		}
		for _, c := range news {
			select {
			case found <- c:
			case <-ctx.Done():
				return discover.Stats{}, ctx.Err()
			}
		}
		return discover.Stats{Addresses: len(t.Targets), Probed: len(t.Targets)}, nil
	}
}
