package snmp

import "golang.org/x/sys/windows"

// What the system returns when the port is closed (ICMP port unreachable), and
// when there is no way to the host or the system does not let the packet out.
var (
	refused     = []error{windows.WSAECONNREFUSED, windows.WSAECONNRESET}
	unreachable = []error{windows.WSAEHOSTUNREACH, windows.WSAENETUNREACH, windows.WSAEHOSTDOWN, windows.WSAEACCES}
)
