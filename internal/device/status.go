package device

import "encoding/json"

// Status is the state of a subunit, a tray for example, as
// PrtSubUnitStatusTC codes it (RFC 3805 section 2.2.13.2.2): one availability
// and four flags in one number. The zero Status is not reported.
type Status struct {
	reported bool
	code     int
}

// Parts of PrtSubUnitStatusTC.
const (
	statusAvailability = 7
	statusNonCritical  = 8
	statusCritical     = 16
	statusOffline      = 32
	statusMoving       = 64
	statusMax          = 126
)

var availabilityWords = [8]string{"idle", "on-request", "standby", "broken", "active", "unknown", "busy", "undefined"}

// StatusFrom reads the number of PrtSubUnitStatusTC, 0 to 126. Any other number is
// not a status and gives the zero Status.
func StatusFrom(code int64) Status {
	if code < 0 || code > statusMax {
		return Status{}
	}
	return Status{reported: true, code: int(code)}
}

// Reported tells whether the device gave a status at all.
func (s Status) Reported() bool { return s.reported }

// Code returns the number of PrtSubUnitStatusTC, valid when Reported.
func (s Status) Code() int { return s.code }

// Availability is one of idle, on-request (unavailable and on request),
// standby, broken (unavailable because broken), active, unknown, busy,
// undefined; empty when no status was reported.
func (s Status) Availability() string {
	if !s.reported {
		return ""
	}
	return availabilityWords[s.code&statusAvailability]
}

// Broken reports "unavailable because broken".
func (s Status) Broken() bool { return s.Availability() == "broken" }

// NonCritical reports that non-critical alerts are active on the subunit.
func (s Status) NonCritical() bool { return s.reported && s.code&statusNonCritical != 0 }

// Critical reports that critical alerts are active on the subunit.
func (s Status) Critical() bool { return s.reported && s.code&statusCritical != 0 }

// Offline reports that the subunit is off-line.
func (s Status) Offline() bool { return s.reported && s.code&statusOffline != 0 }

// Moving reports that the subunit is on its way to the intended state.
func (s Status) Moving() bool { return s.reported && s.code&statusMoving != 0 }

// Words returns the availability and the flags as words, nil when no status
// was reported.
func (s Status) Words() []string {
	if !s.reported {
		return nil
	}
	words := []string{s.Availability()}
	for _, f := range statusFlags {
		if s.code&f.bit != 0 {
			words = append(words, f.word)
		}
	}
	return words
}

var statusFlags = []struct {
	bit  int
	word string
}{
	{statusNonCritical, "non-critical-alert"},
	{statusCritical, "critical-alert"},
	{statusOffline, "off-line"},
	{statusMoving, "changing"},
}

// MarshalJSON writes the words, an empty list when no status was reported.
func (s Status) MarshalJSON() ([]byte, error) {
	words := s.Words()
	if words == nil {
		words = []string{}
	}
	return json.Marshal(words)
}

// UnmarshalJSON reads what MarshalJSON writes.
func (s *Status) UnmarshalJSON(b []byte) error {
	var words []string
	if err := json.Unmarshal(b, &words); err != nil {
		return err
	}
	*s = Status{}
	for _, w := range words {
		for i, a := range availabilityWords {
			if w == a {
				s.reported, s.code = true, s.code|i
			}
		}
		for _, f := range statusFlags {
			if w == f.word {
				s.reported, s.code = true, s.code|f.bit
			}
		}
	}
	return nil
}

// MarshalBinary writes the number, nothing when no status was reported.
func (s Status) MarshalBinary() ([]byte, error) {
	if !s.reported {
		return []byte{}, nil
	}
	return []byte{byte(s.code)}, nil
}

// UnmarshalBinary reads what MarshalBinary writes.
func (s *Status) UnmarshalBinary(b []byte) error {
	*s = Status{}
	if len(b) > 0 {
		*s = StatusFrom(int64(b[0]))
	}
	return nil
}
