package snmp

import (
	"errors"
	"fmt"
)

// Why a device could not be asked. Every error of this package wraps one of
// these, or the error of the context.
var (
	// ErrNoAnswer: nothing came back. The address may be empty, switched off or
	// behind a firewall, SNMP may be off, or the community may be another one:
	// an agent does not answer a wrong community (RFC 3584 section 5.2.1).
	ErrNoAnswer = errors.New("no SNMP answer: switched off, blocked, SNMP disabled, or the credential is not accepted")
	// ErrNotAsked: datagrams came back, and none of them answers what was asked.
	ErrNotAsked = errors.New("answers came, but none to what was asked: another request-id, community or version, or no SNMP at all")
	// ErrRefused: the host is there, nothing listens on the port.
	ErrRefused = errors.New("the UDP port is closed: SNMP is off on this host, or on another port")
	// ErrUnreachable: the network says there is no way to the address.
	ErrUnreachable = errors.New("no route to the address, or nobody there")
	// ErrNoSocket: this computer gives the program no further socket; the device
	// was not asked.
	ErrNoSocket = errors.New("not asked: this system lets the program open no more files and sockets: raise that limit (ulimit -n)")
	// ErrCredential: the credential itself is no good; nothing was sent.
	ErrCredential = errors.New("unusable SNMP credential")
	// ErrBadAnswer: the device answers, but not in a way that can be used.
	ErrBadAnswer = errors.New("unusable SNMP answer")
	// ErrAuth is wrapped by the errors below: an SNMPv3 device reports that it
	// does not let the user in (RFC 3414 section 3.2, RFC 3412 section 7.2).
	ErrAuth = errors.New("SNMPv3 access refused")

	ErrUnknownUser      = fmt.Errorf("%w: unknown user name", ErrAuth)
	ErrWrongDigest      = fmt.Errorf("%w: wrong authentication passphrase or protocol", ErrAuth)
	ErrDecrypt          = fmt.Errorf("%w: wrong privacy passphrase or protocol", ErrAuth)
	ErrUnsupportedLevel = fmt.Errorf("%w: the device does not support this security level for the user", ErrAuth)
	ErrNotAllowed       = fmt.Errorf("%w: the device knows the user and lets it read nothing at this security level", ErrAuth)
	ErrNotInTimeWindow  = fmt.Errorf("%w: the device's clock keeps running out of the time window", ErrAuth)
	ErrUnknownContext   = fmt.Errorf("%w: unknown context", ErrAuth)
	// ErrMute: agents that cannot decrypt a message may drop it without a word.
	ErrMute   = fmt.Errorf("%w: the device shows its SNMPv3 engine, then stays silent: perhaps a wrong privacy passphrase or protocol", ErrAuth)
	ErrReport = fmt.Errorf("%w: report without a known reason", ErrAuth)
	// ErrForged: answers came whose authentication code is wrong.
	ErrForged = fmt.Errorf("%w: the answers are not authentic", ErrAuth)
	// ErrDowngrade: answers came that were authenticated or encrypted less than
	// the request; they are not used (RFC 3412 section 7.2.10).
	ErrDowngrade = fmt.Errorf("%w: the device answers with less security than it was asked with", ErrAuth)
	// ErrEngine: the engine that a device shows is never the one that answers.
	ErrEngine = fmt.Errorf("%w: the device shows another engine with every answer", ErrAuth)
)
