package survey

import (
	"context"
	"net/netip"

	"printround/internal/device"
	"printround/internal/snmp"
)

// unexpected is what the reader is told when decoding one device's answers
// panics. The value is left out: it may quote what the device sent.
const unexpected = "its answer broke the reader: what it said over this protocol is left out; please report the model and firmware"

// guardSNMP and guardIPP keep a device whose answers trip the decoders, ours
// or a library's, from ending the survey of all others.
func (p *pipeline) guardSNMP(ctx context.Context, at netip.AddrPort, creds []snmp.Credential) (r SNMPResult) {
	defer func() {
		if recover() != nil {
			r = SNMPResult{Reach: device.SNMPReach{Tried: true}, Problems: []device.Problem{
				{Address: at.Addr().String(), Stage: "snmp", Message: unexpected},
			}}
		}
	}()
	return p.via.snmp(ctx, at, creds, p.o.reading())
}

func (p *pipeline) guardIPP(ctx context.Context, t IPPTarget) (r IPPResult) {
	defer func() {
		if recover() != nil {
			r = IPPResult{Reach: device.IPPReach{Tried: true}, Problems: []device.Problem{
				{Address: t.Addr.String(), Stage: "ipp", Message: unexpected},
			}}
		}
	}()
	return p.via.ipp(ctx, t, p.o.reading())
}
