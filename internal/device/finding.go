package device

import "time"

// Attention is how much a device needs somebody.
type Attention string

// Attention levels, worst first.
const (
	Stopped  Attention = "stopped"  // cannot print
	Silent   Attention = "silent"   // known device, no answer
	Impaired Attention = "impaired" // prints, with a fault or a blocked function
	Due      Attention = "due"      // will need someone within the horizon
	Clear    Attention = "clear"
)

// Impact is what one finding does to the device.
type Impact string

// Impacts, worst first. A note never asks for attention.
const (
	ImpactStopped  Impact = "stopped"
	ImpactSilent   Impact = "silent"
	ImpactImpaired Impact = "impaired"
	ImpactDue      Impact = "due"
	ImpactNote     Impact = "note"
)

// Rank orders impacts: 0 is the worst.
func (i Impact) Rank() int {
	for n, v := range [...]Impact{ImpactStopped, ImpactSilent, ImpactImpaired, ImpactDue, ImpactNote} {
		if v == i {
			return n
		}
	}
	return 5
}

// Rank orders attention levels: 0 is the worst.
func (a Attention) Rank() int {
	for n, v := range [...]Attention{Stopped, Silent, Impaired, Due, Clear} {
		if v == a {
			return n
		}
	}
	return 5
}

// Subunit names the part of the device that a finding is about.
type Subunit struct {
	Group string `json:"group"` // PrtAlertGroupTC label; empty: the device as a whole
	Index int    `json:"index"`
	Name  Text   `json:"name"` // the device's own name for it
}

// Evidence is one fact behind a finding.
type Evidence struct {
	Source Source `json:"source"`
	Object string `json:"object"`
	Value  string `json:"value"`
}

// Who can act, by the training levels of RFC 3805 (PrtAlertTrainingLevelTC).
type Who string

// Training levels that advice uses.
const (
	Untrained    Who = "untrained"
	Trained      Who = "trained"
	FieldService Who = "field service"
	Management   Who = "management"
	Nobody       Who = "nobody" // noInterventionRequired
)

// Advice is what to do about a finding.
type Advice struct {
	Meaning string   `json:"meaning"`
	Causes  []string `json:"causes"` // likely first
	Steps   []string `json:"steps"`  // in order
	// PhoneSteps is how many of the first steps need no visit: somebody on site,
	// or whoever runs the device, can do them told by phone. 0: none; all of
	// them: a visit is not needed unless they fail. Whether the part is on site
	// is another question.
	PhoneSteps int  `json:"phone_steps"`
	Part       Text `json:"part"` // class of part to bring
	Who        Who  `json:"who"`
	Minutes    int  `json:"minutes"` // common practice, no source
	Caution    Text `json:"caution"`
}

// Finding is one thing to know about a device.
type Finding struct {
	Code      string     `json:"code"` // printer-state-reasons keyword without suffix, or derived-…
	Impact    Impact     `json:"impact"`
	Subunit   Subunit    `json:"subunit"`
	Summary   string     `json:"summary"` // one line for people
	AgeS      *int64     `json:"age_s"`
	FirstSeen *time.Time `json:"first_seen"`
	Stale     bool       `json:"stale"` // present status contradicts it: weight 0
	Weight    float64    `json:"weight"`
	Why       string     `json:"why"` // the rule that gave impact and weight, for --explain
	Evidence  []Evidence `json:"evidence"`
	Advice    Advice     `json:"advice"`
}
