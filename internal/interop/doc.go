// Package interop checks the whole tool against programs that others wrote:
// SNMP agents, SNMP reading tools, an IPP printer, an IPP test client and a
// DNS-SD responder, each started on loopback by the test that needs it and
// stopped by its process id. It holds tests only.
//
// A test whose program or recording is not there skips and says which; with
// PRINTROUND_CI=1 in the environment it fails instead.
package interop
