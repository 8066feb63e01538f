package report

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strings"

	"printround/internal/device"
)

// ReadBrief reads a survey like Read, but keeps of each device only what brief
// returns, and never has the file in memory: it may be of any size.
func ReadBrief(r io.Reader, brief func(*device.Device) device.Device) (*device.Survey, error) {
	seeker, ok := r.(io.ReadSeeker)
	if ok {
		start, err := seeker.Seek(0, io.SeekCurrent)
		if ok = err == nil; ok {
			if s, err := readStream(seeker, brief); err == nil {
				return s, nil
			}
			// Read says in terms of the file what is wrong with it.
			if _, err := seeker.Seek(start, io.SeekStart); err != nil {
				return nil, fmt.Errorf("reading the survey: %w", err)
			}
		}
	}
	s, err := Read(r)
	if err != nil {
		return nil, err
	}
	for i := range s.Devices {
		s.Devices[i] = brief(&s.Devices[i])
	}
	return s, nil
}

// readStream takes the list of devices one by one, and the rest at the end.
func readStream(r io.Reader, brief func(*device.Device) device.Device) (*device.Survey, error) {
	dec := json.NewDecoder(withoutBOM(r))
	if t, err := dec.Token(); err != nil || t != json.Delim('{') {
		return nil, errors.Join(err, errNotStreamed)
	}
	var devices []device.Device
	rest := []byte{'{'}
	for dec.More() {
		key, err := dec.Token()
		if err != nil {
			return nil, err
		}
		if strings.EqualFold(key.(string), "devices") { // the library ignores case too
			if devices, err = readDevices(dec, brief); err != nil {
				return nil, err
			}
			continue
		}
		var value json.RawMessage
		if err := dec.Decode(&value); err != nil {
			return nil, err
		}
		if len(rest) > 1 {
			rest = append(rest, ',')
		}
		name, err := json.Marshal(key)
		if err != nil {
			return nil, err
		}
		rest = append(append(append(rest, name...), ':'), value...)
	}
	if _, err := dec.Token(); err != nil { // the bracket
		return nil, err
	}
	if _, err := dec.Token(); !errors.Is(err, io.EOF) {
		return nil, errNotStreamed
	}
	rest = append(rest, '}')
	var head struct {
		Schema *string `json:"schema"`
	}
	if err := json.Unmarshal(rest, &head); err != nil {
		return nil, err
	}
	if err := checkSchema(head.Schema); err != nil {
		return nil, err
	}
	var s device.Survey
	if err := json.Unmarshal(rest, &s); err != nil {
		return nil, err
	}
	s.Devices = devices
	return &s, nil
}

var errNotStreamed = errors.New("not the form of a survey")

// readDevices reads a list, or null.
func readDevices(dec *json.Decoder, brief func(*device.Device) device.Device) ([]device.Device, error) {
	switch t, err := dec.Token(); {
	case err != nil:
		return nil, err
	case t == nil:
		return nil, nil
	case t != json.Delim('['):
		return nil, errNotStreamed
	}
	out := []device.Device{}
	for dec.More() {
		var d device.Device
		if err := dec.Decode(&d); err != nil {
			return nil, err
		}
		out = append(out, brief(&d))
	}
	_, err := dec.Token()
	return out, err
}

// withoutBOM leaves out a byte order mark at the beginning.
func withoutBOM(r io.Reader) io.Reader {
	const bom = "\ufeff"
	start := make([]byte, len(bom))
	n, _ := io.ReadFull(r, start) // an error comes again
	return io.MultiReader(bytes.NewReader(bytes.TrimPrefix(start[:n], []byte(bom))), r)
}
