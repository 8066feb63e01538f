//go:build !windows

package snmp

import "syscall"

// What the system returns when the port is closed (ICMP port unreachable), and
// when there is no way to the host or the system does not let the packet out.
var (
	refused     = []error{syscall.ECONNREFUSED}
	unreachable = []error{syscall.EHOSTUNREACH, syscall.ENETUNREACH, syscall.EHOSTDOWN, syscall.EACCES, syscall.EPERM}
)
