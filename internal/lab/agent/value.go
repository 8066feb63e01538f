package agent

import (
	"encoding/hex"
	"fmt"
	"net/netip"
	"strconv"
)

// Value is one encoded SNMP value: a tag and the content octets.
type Value struct {
	Tag  byte
	Body []byte
}

// Integer returns an INTEGER.
func Integer(n int) Value { return Value{TagInteger, appendIntBody(nil, int64(n))} }

// Text returns an OCTET STRING.
func Text(s string) Value { return Value{TagOctets, []byte(s)} }

// Octets returns an OCTET STRING.
func Octets(b []byte) Value { return Value{TagOctets, b} }

// ObjectID returns an OBJECT IDENTIFIER.
func ObjectID(o OID) Value { return Value{TagObjectID, appendOIDBody(nil, o)} }

// Counter32 returns a Counter32.
func Counter32(n uint32) Value { return Value{TagCounter32, appendUintBody(nil, uint64(n))} }

// Gauge32 returns a Gauge32.
func Gauge32(n uint32) Value { return Value{TagGauge32, appendUintBody(nil, uint64(n))} }

// TimeTicks returns hundredths of a second.
func TimeTicks(n uint32) Value { return Value{TagTimeTicks, appendUintBody(nil, uint64(n))} }

// IPAddress returns an IpAddress; a must be an IPv4 address.
func IPAddress(a netip.Addr) Value { return Value{TagIPAddress, a.AsSlice()} }

// snmprec writes the value as `TAG|VALUE` of the snmprec text form: the tag in
// decimal, an x behind it when the octets are written in hexadecimal.
func (v Value) snmprec() (string, error) {
	tag := strconv.Itoa(int(v.Tag))
	switch v.Tag {
	case TagInteger:
		n, _, err := readInt(appendTLV(nil, v.Tag, v.Body))
		return tag + "|" + strconv.FormatInt(n, 10), err
	case TagCounter32, TagGauge32, TagTimeTicks, TagCounter64:
		n, err := readUint(v.Body)
		return tag + "|" + strconv.FormatUint(n, 10), err
	case TagObjectID:
		o, err := decodeOID(nil, v.Body)
		return tag + "|" + o.String(), err
	case TagIPAddress:
		a, ok := netip.AddrFromSlice(v.Body)
		if !ok {
			return "", errMalformed
		}
		return tag + "|" + a.String(), nil
	case TagNull:
		return tag + "|", nil
	}
	for _, c := range v.Body {
		if c < 0x20 || c > 0x7e {
			return tag + "x|" + hex.EncodeToString(v.Body), nil
		}
	}
	return tag + "|" + string(v.Body), nil
}

func readUint(b []byte) (uint64, error) {
	if len(b) == 0 || len(b) > 9 || len(b) == 9 && b[0] != 0 {
		return 0, errMalformed
	}
	var n uint64
	for _, c := range b {
		n = n<<8 | uint64(c)
	}
	return n, nil
}

// parseSnmprec reads the tag and value columns of a snmprec line.
func parseSnmprec(tag, s string) (Value, error) {
	inHex := len(tag) > 0 && tag[len(tag)-1] == 'x'
	if inHex {
		tag = tag[:len(tag)-1]
	}
	t, err := strconv.Atoi(tag)
	if err != nil {
		return Value{}, fmt.Errorf("tag %q is no number", tag)
	}
	raw := []byte(s)
	if inHex {
		if raw, err = hex.DecodeString(s); err != nil {
			return Value{}, fmt.Errorf("value: %w", err)
		}
	}
	switch t {
	case TagInteger:
		n, err := strconv.ParseInt(s, 10, 32)
		return Integer(int(n)), err
	case TagCounter32, TagGauge32, TagTimeTicks:
		n, err := strconv.ParseUint(s, 10, 32)
		return Value{byte(t), appendUintBody(nil, n)}, err
	case TagCounter64:
		n, err := strconv.ParseUint(s, 10, 64)
		return Value{byte(t), appendUintBody(nil, n)}, err
	case TagObjectID:
		o, err := ParseOID(s)
		return ObjectID(o), err
	case TagIPAddress:
		if inHex && len(raw) == 4 {
			return Value{TagIPAddress, raw}, nil
		}
		a, err := netip.ParseAddr(s)
		if err != nil || !a.Is4() {
			return Value{}, fmt.Errorf("value %q is no IPv4 address", s)
		}
		return IPAddress(a), nil
	case TagOctets, TagOpaque:
		return Value{byte(t), raw}, nil
	case TagNull:
		return Value{Tag: TagNull}, nil
	}
	return Value{}, fmt.Errorf("tag %d is not known", t)
}
