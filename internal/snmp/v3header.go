package snmp

import (
	"encoding/binary"
	"fmt"
)

// Bits of msgFlags (RFC 3412 section 6.4).
const (
	flagAuth = 1
	flagPriv = 2
)

// v3Header is what stands before the scoped PDU of an SNMPv3 message:
//
//	SEQUENCE { version,
//	  SEQUENCE { msgID, msgMaxSize, msgFlags, msgSecurityModel },
//	  OCTET STRING { SEQUENCE { engineID, boots, time, user, authentication, privacy } },
//	  … }                                  (RFC 3412 section 6, RFC 3414 section 2.4)
type v3Header struct {
	msgID        uint32
	flags        byte
	engine, user string
	boots, clock uint32
	code         int // offset of the authentication code in the message
	codeLen      int
}

func parseV3(b []byte) (*v3Header, error) {
	c := cursor{b: b, end: len(b)}
	c.enter(0x30)
	if version := c.uint(); version != 3 {
		c.bad = true
	}
	outer := c.end
	c.enter(0x30)
	h := &v3Header{msgID: c.uint()}
	c.uint() // msgMaxSize
	if flags := c.octets(); len(flags) == 1 {
		h.flags = flags[0]
	} else {
		c.bad = true
	}
	if model := c.uint(); model != 3 {
		c.bad = true
	}
	c.pos, c.end = c.end, outer
	c.enter(0x04)
	c.enter(0x30)
	h.engine = string(c.octets())
	h.boots, h.clock = c.uint(), c.uint()
	h.user = string(c.octets())
	code := c.octets()
	h.code, h.codeLen = c.pos-len(code), len(code)
	c.octets()
	if c.bad {
		return nil, fmt.Errorf("%w: no SNMPv3 header", ErrBadAnswer)
	}
	return h, nil
}

// cursor reads BER of definite length. After the first fault it yields zeros.
type cursor struct {
	b        []byte
	pos, end int
	bad      bool
}

// header reads tag and length and returns where the contents end.
func (c *cursor) header(tag byte) int {
	if c.bad || c.end-c.pos < 2 || c.b[c.pos] != tag {
		c.bad = true
		return c.pos
	}
	n := int(c.b[c.pos+1])
	c.pos += 2
	if n >= 0x80 {
		k := n & 0x7f
		if k < 1 || k > 3 || c.end-c.pos < k {
			c.bad = true
			return c.pos
		}
		n = 0
		for range k {
			n = n<<8 | int(c.b[c.pos])
			c.pos++
		}
	}
	if n > c.end-c.pos {
		c.bad = true
		return c.pos
	}
	return c.pos + n
}

// enter goes into a constructed value.
func (c *cursor) enter(tag byte) {
	if end := c.header(tag); !c.bad {
		c.end = end
	}
}

func (c *cursor) octets() []byte {
	end := c.header(0x04)
	if c.bad {
		return nil
	}
	v := c.b[c.pos:end]
	c.pos = end
	return v
}

// uint reads an INTEGER from 0 to 2^31-1, padded or not.
func (c *cursor) uint() uint32 {
	end := c.header(0x02)
	n := end - c.pos
	if c.bad || n < 1 || n > 8 || c.b[c.pos] >= 0x80 {
		c.bad = true
		return 0
	}
	var full [8]byte
	copy(full[8-n:], c.b[c.pos:end])
	c.pos = end
	v := binary.BigEndian.Uint64(full[:])
	if v > 1<<31-1 {
		c.bad = true
	}
	return uint32(v)
}
