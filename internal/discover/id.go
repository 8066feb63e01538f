package discover

import "math/rand/v2"

// An id carries who was asked what, so that a reply finds its way without
// anything being kept per address:
//
//	bit 31 0, bit 30 1, then XOR with a number chosen for the run:
//	bits 27-29 variant, bits 24-26 pass (modulo 8), bits 0-23 index into the scope
//
// Bit 30 makes every id positive, non-zero and four octets long.
type ids struct{ salt int32 }

const (
	idBit       = 1 << 30
	idMask      = idBit - 1
	variantBits = 3
	passBits    = 3
	indexBits   = 24
	// followUp is the variant of questions to hosts that have answered.
	followUp = 1<<variantBits - 1
)

func newIDs() ids { return ids{rand.Int32() & idMask} }

func (s ids) make(variant, pass, index int) int32 {
	v := int32(variant)<<(passBits+indexBits) | int32(pass&(1<<passBits-1))<<indexBits | int32(index)
	return idBit | (v ^ s.salt)
}

// isOurs reports whether an id can be one of the sweep's, of whatever run.
func isOurs(id int32) bool { return id&^idMask == idBit }

func (s ids) split(id int32) (variant, pass, index int, ok bool) {
	if !isOurs(id) {
		return 0, 0, 0, false
	}
	v := int(id&idMask ^ s.salt)
	return v >> (passBits + indexBits), v >> indexBits & (1<<passBits - 1), v & (1<<indexBits - 1), true
}
