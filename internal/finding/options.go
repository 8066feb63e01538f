package finding

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

	peerLanguages []string // what every other device of the model has (JudgeAll)
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
		ExpectedOrientation: "portrait",
	}
}
