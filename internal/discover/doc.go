// Package discover finds printers: it turns targets into a scope, asks every
// address in it over SNMP from one socket (RFC 3416, RFC 3417, RFC 3805), tries
// the IPP port of those that SNMP did not show to be printers (RFC 8010), and
// browses for services announced by DNS-SD (RFC 6762, RFC 6763). It never writes
// to a device and never opens the ports of raw printing or LPR.
package discover
