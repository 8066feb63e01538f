package snmp

import (
	"encoding/json"
	"fmt"
)

// Secret is a community or a passphrase. However it is printed, logged or
// marshalled it shows as "(hidden)"; only Reveal gives the text.
type Secret string

const hidden = "(hidden)"

// Reveal returns the secret itself, for the code that puts it on the wire.
func (s Secret) Reveal() string { return string(s) }

// String hides the secret.
func (s Secret) String() string { return hidden }

// GoString hides the secret.
func (s Secret) GoString() string { return hidden }

// Format hides the secret whatever the verb.
func (s Secret) Format(f fmt.State, _ rune) { _, _ = f.Write([]byte(hidden)) }

// MarshalJSON hides the secret.
func (s Secret) MarshalJSON() ([]byte, error) { return json.Marshal(hidden) }

// MarshalText hides the secret.
func (s Secret) MarshalText() ([]byte, error) { return []byte(hidden), nil }

// Version is an SNMP version.
type Version uint8

// SNMP versions, by the number that stands in the message (RFC 1157 section 4,
// RFC 3416 with RFC 1901, RFC 3412 section 6.1).
const (
	V1  Version = 0
	V2c Version = 1
	V3  Version = 3
)

// String returns "1", "2c" or "3".
func (v Version) String() string {
	switch v {
	case V1:
		return "1"
	case V2c:
		return "2c"
	case V3:
		return "3"
	}
	return fmt.Sprintf("Version(%d)", uint8(v))
}

// Credential is one way to be let in. Label names it in reports and errors.
// For V1 and V2c only Community counts; a V2c credential also serves for the
// fallback to V1. For V3 the user-based security model counts (RFC 3414): an
// empty AuthProtocol means noAuthNoPriv, an empty PrivProtocol authNoPriv.
type Credential struct {
	Label        string
	Version      Version
	Community    Secret
	User         string
	AuthProtocol string // "", MD5, SHA, SHA224, SHA256, SHA384, SHA512
	AuthPass     Secret
	PrivProtocol string // "", DES, AES, AES192, AES256, AES192C, AES256C
	PrivPass     Secret
	Context      string
}
