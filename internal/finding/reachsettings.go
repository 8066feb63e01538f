package finding

import (
	"fmt"
	"strings"
	"time"

	"printround/internal/device"
)

// clock sees a clock that is off. By more than the tolerance; the whole hours
// of a wrong time zone are named.
func (j *judge) clock() {
	off := j.d.State.ClockOffS
	switch {
	case j.o.ClockOffMin <= 0 || !j.d.Reached.IPP.OK:
		return
	case off == nil:
		j.gaps = append(j.gaps, ClockOff+": the device does not tell its time")
		return
	}
	size := max(*off, -*off)
	if size <= int64(j.o.ClockOffMin)*60 {
		return
	}
	way := "ahead"
	if *off < 0 {
		way = "behind"
	}
	rule := fmt.Sprintf("more than %d minutes from the time of this machine", j.o.ClockOffMin)
	if near := size % 3600; size < 15*3600 && (near < 120 || near > 3600-120) {
		rule += "; whole hours: the time zone or summer time may be wrong"
	}
	j.conclusion(ClockOff, device.ImpactNote, fmt.Sprintf("clock is %s %s", device.Span(size), way), rule, device.Subunit{},
		device.Evidence{Source: device.SourceIPP, Object: "printer-current-time", Value: fmt.Sprintf("%+d s", *off)})
}

// firmware sees another version than most devices of the model have. Which of
// two is the newer one is not known.
func (j *judge) firmware() {
	usual := j.o.peerFirmware
	if usual == "" || j.d.Firmware == "" || j.d.Firmware == usual {
		return
	}
	j.conclusion(FirmwareDiffers, device.ImpactNote, fmt.Sprintf("firmware is %s", j.d.Firmware),
		fmt.Sprintf("most devices of this model have %s", usual), device.Subunit{},
		device.Evidence{Source: device.SourceIPP, Object: "printer-firmware-string-version", Value: string(j.d.Firmware)})
}

// transport sees IPP without encryption and certificates that have ended or are
// about to.
func (j *judge) transport() {
	r := &j.d.Reached.IPP
	if !r.OK {
		return
	}
	if r.TLS == nil {
		if strings.HasPrefix(string(r.URI), "ipp:") {
			j.conclusion(IPPUnencrypted, device.ImpactNote, "IPP answers without encryption only", "ipps gave no answer or is not announced", device.Subunit{},
				device.Evidence{Source: device.SourceIPP, Object: "printer-uri", Value: string(r.URI)})
		}
		return
	}
	if r.TLS.NotAfter == nil || j.d.ObservedAt.IsZero() {
		j.gaps = append(j.gaps, CertificateEnds+": the end of the certificate is not known")
		return
	}
	left := r.TLS.NotAfter.Sub(j.d.ObservedAt)
	proof := device.Evidence{Source: device.SourceIPP, Object: "certificate, not after", Value: r.TLS.NotAfter.UTC().Format(time.RFC3339)}
	switch {
	case left <= 0:
		j.conclusion(CertificateEnded, device.ImpactDue, fmt.Sprintf("certificate ended on %s", r.TLS.NotAfter.UTC().Format(time.DateOnly)),
			"programs that check it refuse to print", device.Subunit{}, proof)
	case left <= time.Duration(j.o.CertificateDays)*24*time.Hour:
		j.conclusion(CertificateEnds, device.ImpactNote, fmt.Sprintf("certificate ends on %s", r.TLS.NotAfter.UTC().Format(time.DateOnly)),
			fmt.Sprintf("within %d days", j.o.CertificateDays), device.Subunit{}, proof)
	}
}
