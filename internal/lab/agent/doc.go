// Package agent is a small SNMP agent that answers from an object tree, for
// v1 (RFC 1157), v2c (RFC 3416) and v3 with the User-based Security Model
// (RFC 3412, RFC 3414, RFC 3826, RFC 7860). It only ever reads: a SetRequest is
// refused and reported to the caller. It has its own encoding, so that a
// reader tested against it cannot agree with its own mistakes.
package agent
