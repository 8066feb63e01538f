package finding

import (
	"fmt"
	"strings"

	"printround/internal/device"
)

// reading sees what is to be said of how the device was read.
func (j *judge) reading() {
	r := &j.d.Reached
	note := func(code, summary, rule string, proof device.Evidence) {
		j.conclusion(code, device.ImpactNote, summary, rule, device.Subunit{}, proof)
	}
	if r.SNMP.OK && (r.SNMP.Delivered || r.SNMP.Credential == SNMPDefaultLabel && r.SNMP.Version != "3") {
		note(DefaultCommunity, "answers the community that devices are delivered with", "that community was answered",
			device.Evidence{Source: device.SourceSNMP, Object: "credential", Value: string(r.SNMP.Credential)})
	}
	if r.IPP.OK && r.SNMP.Tried && !r.SNMP.OK {
		note(SNMPSilent, "SNMP was silent; judged by IPP alone, levels and counters may be coarser", "IPP answered and SNMP did not",
			device.Evidence{Source: device.SourceIPP, Object: "printer-uri", Value: string(r.IPP.URI)})
	}
	if r.SNMP.Partial {
		note(ReadIncomplete, "SNMP stopped answering before all was read", "part of the objects is missing",
			device.Evidence{Source: device.SourceSNMP, Object: "values read", Value: fmt.Sprint(r.SNMP.Values)})
	}
	for _, g := range j.d.Disagreements {
		note(SourcesDisagree, "the two protocols disagree about "+g.Fact, "beyond tolerance; "+string(g.Kept)+" was kept",
			device.Evidence{Source: device.SourceDerived, Object: g.Fact, Value: fmt.Sprintf("SNMP %s, IPP %s", g.SNMP, g.IPP)})
	}
}

// noAnswer sees a device that is expected and answered nothing.
func (j *judge) noAnswer() {
	d := j.d
	value := "asked over SNMP and IPP"
	switch {
	case !d.Reached.SNMP.Tried && !d.Reached.IPP.Tried:
		value = "not found in this survey"
	case !d.Reached.IPP.Tried:
		value = "asked over SNMP"
	case !d.Reached.SNMP.Tried:
		value = "asked over IPP"
	}
	code, why, summary := NoAnswer, "expected, and nothing answered", "no answer"
	switch {
	case d.Reached.SNMP.Version != "":
		code, why, summary = NoPrinter, "expected, and what answers shows no printer", "something answers here, but no printer"
		value += "; SNMP version " + string(d.Reached.SNMP.Version) + " answered without the Printer MIB"
	case d.Reached.MDNS.OK:
		summary = "announces itself on the network and does not answer"
		value += "; announced as " + string(d.Reached.MDNS.Instance)
	}
	j.conclusion(code, device.ImpactSilent, summary, why, device.Subunit{},
		device.Evidence{Source: device.SourceDerived, Object: "answers", Value: value})
}

// storage sees disks that are full or nearly so (hrStorageTable, RFC 2790).
// Memory in use is normal for a printer; only refused requests count.
func (j *judge) storage() {
	for _, s := range j.d.Storage {
		if s.Size == nil || s.Used == nil || *s.Size <= 0 || *s.Used < 0 {
			continue
		}
		used := float64(*s.Used) / float64(*s.Size) * 100
		code := ""
		switch kind := strings.ToLower(string(s.Kind)); {
		case strings.Contains(kind, "ram") || strings.Contains(kind, "memory"):
			if used >= storageFull && s.Fails != nil && *s.Fails > 0 {
				code = "subunit-memory-exhausted"
			}
		case strings.Contains(kind, "removable") || strings.Contains(kind, "compactdisc") || strings.Contains(kind, "floppy"):
		case used >= storageFull:
			code = "storage-full"
		case used >= storageNearlyFull:
			code = "storage-almost-full"
		}
		if code == "" {
			continue
		}
		seen := &sighting{
			term: known().term(code), sev: warning, sub: device.Subunit{Group: "hostResourcesMIBStorageTable", Name: s.Name},
			proof: device.Evidence{Source: device.SourceSNMP, Object: "hrStorageUsed of " + string(s.Name), Value: fmt.Sprintf("%s%% of %d bytes", number(used), *s.Size)},
		}
		j.weigh(seen)
		seen.rule = "by the space in use"
		if code == "subunit-memory-exhausted" {
			seen.impact, seen.rule = device.ImpactNote, "memory full and requests for it refused"
		}
		j.see(seen)
	}
}

// Shares of a disk in use, in percent (common practice, no source).
const (
	storageNearlyFull = 95.0
	storageFull       = 99.5
)
