package finding

import (
	"slices"

	"printround/internal/device"
)

// Options are the thresholds and expectations that a judgement rests on. Start
// from Defaults: a zero threshold means that nothing is due by its level.
type Options struct {
	HorizonDays   int     // days until the next visit
	ConsumableLow float64 // percent at or below which toner, ink, … is due
	LongLifeLow   float64 // percent at or below which a long-life part is due
	WasteLow      float64 // percent of space left at or below which a receptacle is due
	TrayLow       float64 // percent at or below which a tray is nearly empty, a bin nearly full
	QueueWaitMin  int     // minutes after which a job that waits at an idle printer is stalled

	// Weights replace the built-in weights, 0 to 1, by impact (stopped, silent,
	// impaired, due) or by finding code; a code goes before its impact. Values
	// outside the range are brought to its nearer end.
	Weights map[string]float64

	ExpectedMedia       []string // media of the site, by any name that package media knows; empty: no expectation
	ExpectedOrientation string   // default orientation of the site; empty: no expectation
	ExpectedLanguages   []string // each of these page languages has to be there; empty: no expectation

	Norms           []device.Norm // how devices are to be set, by model; empty: no norms
	ClockOffMin     int           // minutes that a clock may be off; 0: not looked at
	CertificateDays int           // a certificate that ends within so many days is mentioned

	peerFirmware  device.Text // what most devices of the model have (JudgeAll)
	peerLanguages []string    // what every other device of the model has (JudgeAll)
}

// Defaults returns the thresholds that hold when a site states none (common
// practice, no source).
func Defaults() Options {
	return Options{
		HorizonDays:         14,
		ConsumableLow:       10,
		LongLifeLow:         5,
		WasteLow:            10,
		TrayLow:             10,
		QueueWaitMin:        15,
		ClockOffMin:         5, // clocks further apart spoil Kerberos too (RFC 4120 section 8.2, from memory)
		CertificateDays:     30,
		ExpectedOrientation: "portrait",
	}
}

// follow takes over what a norm says of things that sites state by themselves.
func (o *Options) follow(n *device.Norm) {
	if n.Orientation != "" {
		o.ExpectedOrientation = n.Orientation
	}
	for _, l := range n.Languages {
		if !slices.ContainsFunc(o.ExpectedLanguages, func(e string) bool { return sameLanguage(e, l) }) {
			o.ExpectedLanguages = append(o.ExpectedLanguages[:len(o.ExpectedLanguages):len(o.ExpectedLanguages)], l)
		}
	}
}
