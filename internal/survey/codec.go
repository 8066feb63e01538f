package survey

import (
	"fmt"

	"github.com/fxamacker/cbor/v2"

	"printround/internal/device"
)

// Readings are encoded as CBOR (RFC 8949), which tells a pointer to zero from
// none and a list without elements from none. The form lasts for one run.
var (
	encoder = must(cbor.EncOptions{Time: cbor.TimeRFC3339Nano}.EncMode())
	decoder = must(cbor.DecOptions{UTF8: cbor.UTF8DecodeInvalid}.DecMode())
)

// encodeReading cannot fail: a device holds nothing that CBOR has no form for.
func encodeReading(d *device.Device) []byte { return must(encoder.Marshal(d)) }

func decodeReading(b []byte) (d device.Device, err error) {
	if err = decoder.Unmarshal(b, &d); err != nil {
		return device.Device{}, fmt.Errorf("reading back what devices said: %w", err)
	}
	return d, nil
}

func must[T any](v T, err error) T {
	if err != nil {
		panic(err)
	}
	return v
}
