package finding

import (
	"slices"

	"printround/internal/device"
)

// Rows of the table of states in RFC 3805 section 2.2.13.2, page 17, named as
// printed there.
const (
	OverallIdle        = "Idle"
	OverallBusy        = "Busy/Active"
	OverallNonCritical = "Non Critical Alert Active"
	OverallCritical    = "Critical Alert Active"
	OverallUnavailable = "Unavailable"
	OverallMovingOff   = "Moving off-line"
	OverallOffline     = "Off-line"
	OverallMovingOn    = "Moving on-line"
	OverallStandby     = "Standby"
)

// criticalBits are the hrPrinterDetectedErrorState labels that the RFC names
// for an active critical alert, and those of the same kind that the second
// octet added (RFC 3805 page 19). serviceRequested goes with either row.
var criticalBits = []string{
	"jammed", "noPaper", "noToner", "doorOpen", "serviceRequested",
	"inputTrayMissing", "outputTrayMissing", "markerSupplyMissing", "outputFull", "inputTrayEmpty",
}

// Overall returns the row of RFC 3805's table of states (section 2.2.13.2)
// that the three host resources objects make up: the labels of hrDeviceStatus
// and hrPrinterStatus and of the bits set in hrPrinterDetectedErrorState. It
// is empty when no row has these values.
func Overall(hrDevice, hrPrinter string, bits []string) string {
	offline := slices.Contains(bits, "offline")
	critical := slices.ContainsFunc(bits, func(b string) bool { return slices.Contains(criticalBits, b) })
	working := hrPrinter == "idle" || hrPrinter == "printing"
	switch {
	case hrDevice == "running" && hrPrinter == "idle" && len(bits) == 0:
		return OverallIdle
	case hrDevice == "running" && hrPrinter == "printing":
		return OverallBusy
	case hrDevice == "running" && hrPrinter == "other":
		return OverallStandby
	case hrDevice == "warning" && working && offline:
		return OverallMovingOff
	case hrDevice == "warning" && working:
		return OverallNonCritical
	case hrDevice == "down" && hrPrinter == "warmup":
		return OverallMovingOn
	case hrDevice == "down" && hrPrinter == "other" && critical:
		return OverallCritical
	case hrDevice == "down" && hrPrinter == "other" && offline:
		return OverallOffline
	case hrDevice == "down" && hrPrinter == "other":
		return OverallUnavailable
	}
	return ""
}

// saysStopped reports that the device as a whole says that it cannot print:
// printer-state stopped, or hrDeviceStatus down. Down while warming up is on
// its way back (RFC 3805's row "Moving on-line") and not a stop. Of two
// protocols the worse one counts.
func saysStopped(s *device.State) bool {
	if s.PrinterState == "stopped" {
		return true
	}
	return s.Device == "down" && s.Printer != "warmup"
}
