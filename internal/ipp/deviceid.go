package ipp

import "strings"

// DeviceID is an IEEE 1284 device identification string, as printer-device-id
// (PWG 5107.2) holds it. The values are foreign text and not cleaned.
type DeviceID struct {
	keys, values []string
}

const (
	maxDeviceID   = 1023 // octets, the bound of printer-device-id
	maxDeviceKeys = 64
)

// ParseDeviceID reads "KEY:VALUE;" repeated. White space around a key or value
// is dropped, keys differ by case, the first of a repeated key counts, parts
// without a colon are skipped. Two length octets in front, which belong on a
// cable and not here, are skipped too.
func ParseDeviceID(s string) DeviceID {
	if len(s) >= 2 && s[0] < 0x04 && int(s[0])<<8|int(s[1]) == len(s) {
		s = s[2:]
	}
	if len(s) > maxDeviceID {
		s = s[:maxDeviceID]
	}
	var d DeviceID
	for part := range strings.SplitSeq(s, ";") {
		key, value, ok := strings.Cut(part, ":")
		key, value = strings.TrimSpace(key), strings.TrimSpace(value)
		if !ok || key == "" || d.Get(key) != "" || len(d.keys) >= maxDeviceKeys {
			continue
		}
		d.keys = append(d.keys, key)
		d.values = append(d.values, value)
	}
	return d
}

// Get returns the value of the first of the keys that is there and not empty:
// give the names that mean the same, such as MFG and MANUFACTURER.
func (d DeviceID) Get(keys ...string) string {
	for _, want := range keys {
		for i, k := range d.keys {
			if k == want && d.values[i] != "" {
				return d.values[i]
			}
		}
	}
	return ""
}

// Maker is the manufacturer.
func (d DeviceID) Maker() string { return d.Get("MFG", "MANUFACTURER") }

// Model is the model without the manufacturer.
func (d DeviceID) Model() string { return d.Get("MDL", "MODEL") }

// Serial is the serial number.
func (d DeviceID) Serial() string { return d.Get("SN", "SERN") }

// Commands are the page description languages and other command sets.
func (d DeviceID) Commands() []string {
	var all []string
	for c := range strings.SplitSeq(d.Get("CMD", "COMMAND SET"), ",") {
		if c = strings.TrimSpace(c); c != "" {
			all = append(all, c)
		}
	}
	return all
}
