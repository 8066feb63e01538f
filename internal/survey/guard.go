package survey

import (
	"context"
	"net/netip"

	"golang.org/x/sync/semaphore"

	"printround/internal/device"
	"printround/internal/ipp"
	"printround/internal/snmp"
)

// sharing is what those have in common who read one device at the same time.
type sharing struct {
	// extra is the one request that the device may have to work on beside the
	// first over SNMP: one over IPP, or a second one over SNMP.
	extra *semaphore.Weighted
	heard bool      // the sweep had an answer to the credential that is tried
	line  *ipp.Line // for all printers of the device; nil: each has its own
}

func (p *pipeline) newSharing(h *host) sharing {
	s := sharing{extra: semaphore.NewWeighted(1), heard: h.heard(p.o.Credentials)}
	if !p.o.NoIPP {
		s.line = ipp.NewLine(h.target.Addr, ippReading(p.o.reading()))
	}
	return s
}

func (s sharing) close() {
	if s.line != nil {
		s.line.Close()
	}
}

// unexpected is what the reader is told when decoding one device's answers
// panics. The value is left out: it may quote what the device sent.
const unexpected = "its answer broke the reader: what it said over this protocol is left out; please report the model and firmware"

// guardSNMP and guardIPP keep a device whose answers trip the decoders, ours
// or a library's, from ending the survey of all others.
func (p *pipeline) guardSNMP(ctx context.Context, at netip.AddrPort, creds []snmp.Credential, share sharing) (r SNMPResult) {
	defer func() {
		if recover() != nil {
			r = SNMPResult{Reach: device.SNMPReach{Tried: true}, Problems: []device.Problem{
				{Address: at.Addr().String(), Stage: "snmp", Message: unexpected},
			}}
		}
	}()
	o := p.o.reading()
	o.share = share
	return p.via.snmp(ctx, at, creds, o)
}

func (p *pipeline) guardIPP(ctx context.Context, t IPPTarget, share sharing) (r IPPResult) {
	defer func() {
		if recover() != nil {
			r = IPPResult{Reach: device.IPPReach{Tried: true}, Problems: []device.Problem{
				{Address: t.Addr.String(), Stage: "ipp", Message: unexpected},
			}}
		}
	}()
	if share.extra.Acquire(ctx, 1) == nil { // else the context has ended, and so will reading
		defer share.extra.Release(1)
	}
	o := p.o.reading()
	o.share = share
	return p.via.ipp(ctx, t, o)
}
