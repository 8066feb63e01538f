package survey

import (
	"fmt"
	"net/netip"
	"slices"
	"strings"
	"unicode"

	"printround/internal/device"
)

// identity is what tells one device from another. A device is known by a set
// of aliases: UUID, serial with make and model, MAC, address. The first three
// are strong, an address is not: addresses move between devices.
type identity struct {
	uuid   string
	serial string // as shown, "" when it is no serial
	model  string // slug of make and model
	mac    string
	addrs  []netip.Addr
}

func identityOf(d *device.Device) identity {
	id := identity{
		uuid:  usableUUID(string(d.UUID)),
		model: modelSlug(string(d.MakeModel)),
		mac:   usableMAC(string(d.MAC)),
		addrs: d.Addresses,
	}
	id.serial = usableSerial(string(d.Serial))
	return id
}

// strong reports whether the identity has any alias that outlives an address.
func (id identity) strong() bool { return id.uuid != "" || id.serial != "" || id.mac != "" }

// aliases returns the alias strings, strong ones first.
func (id identity) aliases() []string {
	var out []string
	if id.uuid != "" {
		out = append(out, "uuid:"+id.uuid)
	}
	if id.serial != "" {
		out = append(out, "serial:"+id.model+":"+id.serial)
	}
	if id.mac != "" {
		out = append(out, "mac:"+id.mac)
	}
	for _, a := range id.addrs {
		out = append(out, "addr:"+a.String())
	}
	return out
}

// sameModel reports whether two model slugs can be the same model. The two
// protocols word it differently, so one shared word is enough; an unknown model
// speaks against nothing.
func sameModel(a, b string) bool {
	if a == "" || b == "" {
		return true
	}
	for _, w := range strings.Split(a, "-") {
		if len(w) >= 2 && slices.Contains(strings.Split(b, "-"), w) {
			return true
		}
	}
	return false
}

// modelSlug reduces a make and model to its first three words in lower case:
// what follows (firmware, options) changes from night to night.
func modelSlug(s string) string {
	if i := strings.IndexAny(s, ";,/"); i > 0 {
		s = s[:i]
	}
	words := strings.FieldsFunc(strings.ToLower(s), func(r rune) bool {
		return !unicode.IsLetter(r) && !unicode.IsDigit(r)
	})
	return strings.Join(words[:min(3, len(words))], "-")
}

// usableSerial returns the serial when it can tell devices apart: not blank,
// not shorter than four characters, not one character repeated, not a counting
// row, and none of the words that stand in for a missing serial.
func usableSerial(s string) string {
	s = strings.TrimSpace(s)
	bare := strings.Map(func(r rune) rune {
		if unicode.IsLetter(r) || unicode.IsDigit(r) {
			return unicode.ToLower(r)
		}
		return -1
	}, s)
	if len(bare) < 4 || strings.Trim(bare, bare[:1]) == "" {
		return ""
	}
	if strings.HasPrefix("0123456789012345", bare) || strings.HasPrefix("1234567890123456", bare) {
		return ""
	}
	switch bare {
	case "unknown", "none", "null", "notavailable", "notset", "default", "serial", "serialnumber", "undefined", "other", "tobefilled", "invalid":
		return ""
	}
	return s
}

// usableUUID returns a UUID in lower case, or nothing for the nil and the
// all-ones UUID (RFC 9562 sections 5.9 and 5.10) and for what is no UUID.
func usableUUID(s string) string {
	s = strings.ToLower(strings.TrimPrefix(strings.TrimSpace(s), "urn:uuid:"))
	hex := strings.ReplaceAll(s, "-", "")
	if len(hex) < 16 || strings.Trim(hex, "0123456789abcdef") != "" {
		return ""
	}
	if strings.Trim(hex, "0") == "" || strings.Trim(hex, "f") == "" {
		return ""
	}
	return s
}

// usableMAC returns a MAC address when it can name one interface: not all
// zeros, not a group address (IEEE 802: lowest bit of the first octet).
func usableMAC(s string) string {
	s = strings.ToLower(strings.TrimSpace(s))
	if len(s) != 17 || strings.Trim(s, "0:") == "" {
		return ""
	}
	if strings.IndexByte("13579bdf", s[1]) >= 0 {
		return ""
	}
	return s
}

// register remembers which alias belongs to which key, from earlier surveys.
type register struct {
	uuid, mac map[string]string
	serial    map[string][]knownSerial
}

type knownSerial struct{ model, key string }

func newRegister(known []device.Device) *register {
	r := &register{uuid: map[string]string{}, mac: map[string]string{}, serial: map[string][]knownSerial{}}
	for i := range known {
		d := &known[i]
		for _, alias := range append([]string{d.Key}, d.Aliases...) {
			r.add(alias, d.Key)
		}
	}
	return r
}

func (r *register) add(alias, key string) {
	kind, rest, _ := strings.Cut(alias, ":")
	switch kind {
	case "uuid":
		if usableUUID(rest) != "" {
			r.uuid[rest] = key
		}
	case "mac":
		if usableMAC(rest) != "" {
			r.mac[rest] = key
		}
	case "serial":
		model, serial, ok := strings.Cut(rest, ":")
		if ok && usableSerial(serial) != "" {
			r.serial[serial] = append(r.serial[serial], knownSerial{model, key})
		}
	}
}

// key returns the key by which the device is known, or the one it gets now:
// its first strong alias, else its address with the suffix that tells several
// printers behind one address apart. A conflict names two keys that the same
// device claims.
func (r *register) key(id identity, suffix string) (key, conflict string) {
	var keys []string
	claim := func(k string) {
		if !slices.Contains(keys, k) {
			keys = append(keys, k)
		}
	}
	if k, ok := r.uuid[id.uuid]; ok {
		claim(k)
	}
	for _, s := range r.serial[id.serial] {
		if id.serial != "" && sameModel(s.model, id.model) {
			claim(s.key)
		}
	}
	if k, ok := r.mac[id.mac]; ok && id.mac != "" {
		claim(k)
	}
	switch {
	case len(keys) > 1:
		return keys[0], fmt.Sprintf("answers as %s and as %s, known as two devices: kept as the first", keys[0], keys[1])
	case len(keys) == 1:
		return keys[0], ""
	}
	all := id.aliases()
	if len(all) == 0 {
		return "", ""
	}
	if !id.strong() {
		return all[0] + suffix, ""
	}
	return all[0], ""
}
