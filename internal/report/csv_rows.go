package report

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"printround/internal/device"
)

// owner is the device that a row of a long file belongs to.
type owner struct{ d *device.Device }

// ownerColumns begin every long file, so that it can be used alone.
func ownerColumns[T any](of func(T) *device.Device) []column[T] {
	return []column[T]{
		{"observed_at", "when the device was looked at, RFC 3339, UTC", func(r T) string { return timeCell(of(r).ObservedAt) }},
		{"site", "site of the site file", func(r T) string { return string(of(r).Site) }},
		{"key", "stable name of the device", func(r T) string { return of(r).Key }},
		{"name", "what people call the device", func(r T) string { return string(of(r).Name) }},
		{"location", "where it stands", func(r T) string { return string(of(r).Location) }},
		{"make_model", "maker and model", func(r T) string { return string(of(r).MakeModel) }},
		{"serial", "serial number, as text", func(r T) string { return string(of(r).Serial) }},
		{"addresses", "all IP addresses, separated by spaces", func(r T) string { return addressesCell(of(r).Addresses) }},
	}
}

func (o owner) device() *device.Device { return o.d }

// supplyRow is one supply, of the marker or of a finisher.
type supplyRow struct {
	owner
	finisher *device.Finisher // nil: a supply of the marker
	device.Supply
}

// supplyColumns is the CSV file with one row per supply.
var supplyColumns = append(ownerColumns(supplyRow.device), []column[supplyRow]{
	{"finisher", "index of the finisher that the supply belongs to; empty for the marker", func(r supplyRow) string { return finisherCell(r.finisher) }},
	{"index", "index of the supply in its table", func(r supplyRow) string { return strconv.Itoa(r.Index) }},
	{"supply", "the device's own name for it", func(r supplyRow) string { return string(r.Name) }},
	{"kind", "PrtMarkerSuppliesTypeTC label (RFC 3805)", func(r supplyRow) string { return string(r.Kind) }},
	{"role", "consumed or receptacle", func(r supplyRow) string { return string(r.Role) }},
	{"colorant", "black, cyan, magenta, yellow or the device's word", func(r supplyRow) string { return string(r.Colorant) }},
	{"unit", "PrtMarkerSuppliesSupplyUnitTC label (RFC 3805)", func(r supplyRow) string { return string(r.Unit) }},
	{"capacity", "in unit; empty when not stated", func(r supplyRow) string { return intCell(r.Capacity) }},
	{"value", "level in unit; may be known although the capacity is not", func(r supplyRow) string { return valueCell(r.Level) }},
	{"percent", "level in percent of the capacity; empty when unknown", func(r supplyRow) string { return percentCell(r.Level) }},
	{"measures", "remaining or space-left", func(r supplyRow) string { return string(r.Level.Measures()) }},
	{"level_reason", "why there is no percentage: unknown, some-left, unlimited, not-reported, contradictory", func(r supplyRow) string { return reasonCell(r.Level) }},
	{"low_at_percent", "where the device itself calls it low", func(r supplyRow) string { return floatCell(r.LowAt) }},
	{"source", "snmp or ipp", func(r supplyRow) string { return string(r.Source) }},
	{"object", "object instance or attribute value of the level", func(r supplyRow) string { return r.Object }},
	{"other_source", "the other protocol, when it reports the same supply", func(r supplyRow) string { return string(r.other().Source) }},
	{"other_percent", "what it says", func(r supplyRow) string { return percentCell(r.other().Level) }},
	{"other_reason", "why it gives no percentage", func(r supplyRow) string {
		if r.Other == nil {
			return ""
		}
		return reasonCell(r.Other.Level)
	}},
}...)

func finisherCell(f *device.Finisher) string {
	if f == nil {
		return ""
	}
	return strconv.Itoa(f.Index)
}

func (r supplyRow) other() device.Reading {
	if r.Other == nil {
		return device.Reading{}
	}
	return *r.Other
}

func supplyRows(d *device.Device) []supplyRow {
	var out []supplyRow
	for _, s := range d.Supplies {
		out = append(out, supplyRow{owner{d}, nil, s})
	}
	for i := range d.Finishers {
		for _, s := range d.Finishers[i].Supplies {
			out = append(out, supplyRow{owner{d}, &d.Finishers[i], s})
		}
	}
	return out
}

// trayRow is one tray, or one input of a finisher.
type trayRow struct {
	owner
	finisher *device.Finisher // nil: a tray of the printer
	device.Tray
}

// trayColumns is the CSV file with one row per tray.
var trayColumns = append(ownerColumns(trayRow.device), []column[trayRow]{
	{"finisher", "index of the finisher that it feeds; empty for a tray of the printer", func(r trayRow) string { return finisherCell(r.finisher) }},
	{"index", "index of the tray in its table", func(r trayRow) string { return strconv.Itoa(r.Index) }},
	{"tray", "the device's own name for it", func(r trayRow) string { return string(r.Name) }},
	{"kind", "PrtInputTypeTC label (RFC 3805)", func(r trayRow) string { return string(r.Kind) }},
	{"media", "self-describing media name (PWG 5101.1) where known, else the device's word", func(r trayRow) string { return string(r.Media.Name) }},
	{"width_mm", "width of the medium in millimetres", func(r trayRow) string { return floatCell(r.Media.WidthMM) }},
	{"length_mm", "length in millimetres; empty for roll media without a length", func(r trayRow) string { return floatCell(r.Media.LengthMM) }},
	{"media_type", "type of the medium", func(r trayRow) string { return string(r.Media.Type) }},
	{"media_color", "colour of the medium", func(r trayRow) string { return string(r.Media.Color) }},
	{"weight_gsm", "weight in grams per square metre", func(r trayRow) string { return floatCell(r.Media.WeightG) }},
	{"unit", "PrtCapacityUnitTC label (RFC 3805)", func(r trayRow) string { return string(r.Unit) }},
	{"capacity", "in unit; empty when not stated", func(r trayRow) string { return intCell(r.Capacity) }},
	{"value", "level in unit", func(r trayRow) string { return valueCell(r.Level) }},
	{"percent", "level in percent of the capacity; empty when unknown", func(r trayRow) string { return percentCell(r.Level) }},
	{"level_reason", "why there is no percentage: unknown, some-left, unlimited, not-reported, contradictory", func(r trayRow) string { return reasonCell(r.Level) }},
	{"status", "availability and flags of PrtSubUnitStatusTC (RFC 3805), separated by spaces", func(r trayRow) string { return strings.Join(r.Status.Words(), " ") }},
	{"source", "snmp or ipp", func(r trayRow) string { return string(r.Source) }},
	{"object", "object instance or attribute value of the level", func(r trayRow) string { return r.Object }},
}...)

func trayRows(d *device.Device) []trayRow {
	var out []trayRow
	for _, t := range d.Trays {
		out = append(out, trayRow{owner{d}, nil, t})
	}
	for i := range d.Finishers {
		for _, t := range d.Finishers[i].Inputs {
			out = append(out, trayRow{owner{d}, &d.Finishers[i], t})
		}
	}
	return out
}

type findingRow struct {
	owner
	device.Finding
}

// findingColumns is the CSV file with one row per finding, notes included.
var findingColumns = append(ownerColumns(findingRow.device), []column[findingRow]{
	{"attention", "attention level of the device", func(r findingRow) string { return string(r.d.Attention) }},
	{"urgency", "urgency of the device, 0 to 100", func(r findingRow) string { return strconv.Itoa(r.d.Urgency) }},
	{"code", "printer-state-reasons keyword (PWG 5100.9) or derived-…", func(r findingRow) string { return r.Code }},
	{"impact", "stopped, silent, impaired, due or note", func(r findingRow) string { return string(r.Impact) }},
	{"weight", "0 to 1, its part in the urgency", func(r findingRow) string { return number(r.Weight) }},
	{"group", "PrtAlertGroupTC label (RFC 3805); empty: the device as a whole", func(r findingRow) string { return r.Subunit.Group }},
	{"group_index", "index of the subunit in its group", func(r findingRow) string {
		if r.Subunit.Group == "" {
			return ""
		}
		return strconv.Itoa(r.Subunit.Index)
	}},
	{"subunit", "the device's own name for it", func(r findingRow) string { return string(r.Subunit.Name) }},
	{"summary", "one line for people", func(r findingRow) string { return r.Summary }},
	{"age_s", "age in seconds; empty when unknown", func(r findingRow) string { return intCell(r.AgeS) }},
	{"first_seen", "RFC 3339, UTC; empty without a history", func(r findingRow) string {
		if r.FirstSeen == nil {
			return ""
		}
		return timeCell(*r.FirstSeen)
	}},
	{"stale", "yes when present status contradicts it", func(r findingRow) string { return yesNo(r.Stale) }},
	{"why", "the rule that gave impact and weight", func(r findingRow) string { return r.Why }},
	{"evidence", "source object = value, separated by semicolons", func(r findingRow) string { return strings.Join(evidenceWords(r.Evidence), "; ") }},
	{"meaning", "what it means", func(r findingRow) string { return r.Advice.Meaning }},
	{"causes", "likely causes, the likeliest first, separated by semicolons", func(r findingRow) string { return strings.Join(r.Advice.Causes, "; ") }},
	{"steps", "what to do, numbered", func(r findingRow) string { return numbered(r.Advice.Steps) }},
	{"part", "class of part to bring", func(r findingRow) string { return string(r.Advice.Part) }},
	{"who", "who can act: PrtAlertTrainingLevelTC (RFC 3805)", func(r findingRow) string { return string(r.Advice.Who) }},
	{"minutes", "about how long it takes; empty when not stated", func(r findingRow) string {
		if r.Advice.Minutes <= 0 {
			return ""
		}
		return strconv.Itoa(r.Advice.Minutes)
	}},
	{"caution", "what to beware of", func(r findingRow) string { return string(r.Advice.Caution) }},
	{"phone_steps", "how many of the first steps somebody on site can do by phone", func(r findingRow) string { return strconv.Itoa(r.Advice.PhoneSteps) }},
}...)

func findingRows(d *device.Device) []findingRow {
	var out []findingRow
	for _, f := range d.Findings {
		out = append(out, findingRow{owner{d}, f})
	}
	return slices.Clip(out)
}

// evidenceWords writes each piece of evidence as source object = value.
func evidenceWords(evidence []device.Evidence) []string {
	words := make([]string, len(evidence))
	for i, e := range evidence {
		words[i] = strings.TrimSpace(fmt.Sprintf("%s %s = %s", e.Source, e.Object, e.Value))
	}
	return words
}

func numbered(steps []string) string {
	words := make([]string, len(steps))
	for i, s := range steps {
		words[i] = fmt.Sprintf("%d. %s", i+1, s)
	}
	return strings.Join(words, " ")
}
