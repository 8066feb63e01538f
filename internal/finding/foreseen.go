package finding

import "printround/internal/device"

// Foreseen returns the code and the advice for a supply of the device that a
// forecast puts at its end: what is consumed runs out, what is a receptacle or a
// part with a long life is changed as when it says itself that it is near its
// end. The index is that of the supply; false: the device has none of that index.
func Foreseen(d *device.Device, index int) (code string, a device.Advice, ok bool) {
	j := &judge{d: d, o: Defaults(), tech: technologyOf(d)}
	supply := j.d.Supply(index)
	if supply == nil {
		return "", device.Advice{}, false
	}
	k := kindOf(supply)
	code, words := RunOut, RunOut
	switch k.class {
	case classLongLife:
		code, words = ServiceDue, k.low
	case classWaste:
		words = k.low
	}
	s := &sighting{term: known().term(words)}
	j.aboutSupply(s, supply)
	return code, j.advice(&cluster{seen: []*sighting{s}}, s, s.sub), true
}
