package survey

import (
	"context"
	"net/netip"

	"printround/internal/snmp"
)

func ReadSNMP(context.Context, netip.AddrPort, []snmp.Credential, ReadOptions) SNMPResult {
	return SNMPResult{}
}
