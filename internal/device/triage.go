package device

import "time"

// TriageSchema names the published JSON document.
const TriageSchema = "printround.symptom/1"

// Triage is what a complaint can come from on one device, or on any device
// when none is given: causes in order, what to try first, what tells the two
// leading causes apart, and how to prove the fix.
type Triage struct {
	Schema     string        `json:"schema"`
	Symptom    string        `json:"symptom"`
	Looks      string        `json:"looks"`  // what a person sees or hears
	Device     Text          `json:"device"` // key; null: none given
	Name       Text          `json:"name"`   // name for people
	MakeModel  Text          `json:"make_model"`
	Location   Text          `json:"location"`
	ObservedAt *time.Time    `json:"observed_at"` // null: no device
	Technology Text          `json:"technology"`  // class in words; null: not known
	Notes      []string      `json:"notes"`       // what the reader must know of how the order came about
	Ask        []string      `json:"ask"`         // questions to the person who complains
	Causes     []TriageCause `json:"causes"`      // likely first; probabilities sum to at most 1
	Else       float64       `json:"something_else"`
	First      []TriageStep  `json:"first"`  // across the causes: cheap, safe and likely first
	Decide     []string      `json:"decide"` // results that tell the two leading causes apart
	Prove      string        `json:"prove"`
	Interval   *Repeat       `json:"interval"` // null: none was measured
	Expected   []RollerMatch `json:"expected"` // intervals to expect of a mark that repeats
}

// TriageCause is one cause with what speaks for and against it.
type TriageCause struct {
	Code        string           `json:"code"`
	Cause       string           `json:"cause"`
	On          Text             `json:"on"`          // technologies it is found on, when the device's is not known
	Probability float64          `json:"probability"` // 0 to 1
	Odds        float64          `json:"odds"`        // prior odds against "something else"; common practice
	Why         []string         `json:"why"`
	Evidence    []TriageEvidence `json:"evidence"`
	Sign        string           `json:"sign"` // what points to this cause
	Try         []TriageStep     `json:"try"`
	Part        Text             `json:"part"`
	PartNumber  Text             `json:"part_number"` // from the site file's catalogue
}

// TriageEvidence is one fact of the device and its likelihood ratio: how many
// times likelier the fact is with this cause than without it.
type TriageEvidence struct {
	Fact   string  `json:"fact"`
	Words  string  `json:"words"`
	Ratio  float64 `json:"ratio"`
	Source string  `json:"source"`
}

// TriageStep is one thing to try.
type TriageStep struct {
	Step    string   `json:"step"`
	Who     Who      `json:"who"`
	Minutes int      `json:"minutes"` // common practice, no source
	Caution Text     `json:"caution"`
	For     []string `json:"for"` // codes of the causes that it cures or tells
}

// Repeat is the interval of a mark that repeats, in millimetres along the
// sheet.
type Repeat struct {
	Reading     string        `json:"reading"` // how the measurements were read: one, positions or repeats
	IntervalMM  float64       `json:"interval_mm"`
	PlusMinusMM float64       `json:"plus_minus_mm"` // half width of the 95 % interval
	DiameterMM  float64       `json:"diameter_mm"`   // interval divided by pi
	Matches     []RollerMatch `json:"matches"`       // nearest first
	Pages       []RepeatPage  `json:"pages"`
	Notes       []string      `json:"notes"`
}

// RollerMatch is a part whose circumference fits the interval, or one that is
// listed as what to expect.
type RollerMatch struct {
	Model      Text     `json:"model"` // as the site file matches it; null: a class of parts
	Part       Text     `json:"part"`  // class of part to replace
	Name       string   `json:"name"`
	LowMM      float64  `json:"low_mm"` // interval that the part leaves
	HighMM     float64  `json:"high_mm"`
	DiameterMM *float64 `json:"diameter_mm"` // null: a class, whose members differ
	OffMM      *float64 `json:"off_mm"`      // measured less expected; null: not measured, or a class
	Turns      int      `json:"turns"`       // turns of the part from one mark to the next
	Technology Text     `json:"technology"`  // kind of printer that a class belongs to
	Source     string   `json:"source"`      // site file, or common practice
}

// RepeatPage tells what one length of page shows of the interval.
type RepeatPage struct {
	Media    string  `json:"media"`
	LengthMM float64 `json:"length_mm"`
	Most     int     `json:"most"`  // marks that fit at most
	Least    int     `json:"least"` // marks that are there however the first one lies
	Shows    bool    `json:"shows"` // two marks on every page: the interval can be measured on one
}

// SymptomGroup is a part of the index of symptoms: what is seen or heard in one
// way.
type SymptomGroup struct {
	Name     string
	Symptoms []SymptomName
}

// SymptomName is one line of the index.
type SymptomName struct {
	Name  string
	Looks string
}
