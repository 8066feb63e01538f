package color

// advise adds what to try, in order, the cautions, and the symptom that goes on
// from here (common practice, no source).
func (x *Cause) advise() {
	symptom, caution := "color-mismatch", ""
	switch x.Kind {
	case Calibration:
		x.Try = []string{
			"Let the device warm up, run its own colour calibration from its panel, print the page again and measure it again.",
			"If it comes back within days, or the calibration ends with an error, look at the supplies and the parts behind the calibration.",
		}
	case Supply:
		x.supply()
		return
	case Media:
		x.Try = []string{
			"Measure an unprinted sheet of the same pack: if it reads as the paper of the page, it is the paper; if it is lighter, the printer leaves a veil.",
			"Print on the paper that the reference was printed on, with paper type and weight set to it, and measure again.",
		}
	case Settings:
		x.Try = []string{
			"Print the page again straight from this tool, with colour and without density, saving or picture settings of a driver, and compare.",
			"Look at the colour mode, density, toner saving and paper type that the device has as its own defaults.",
		}
		if x.rule("no-color") {
			symptom = "missing-color"
		}
		if x.rule("all-light") {
			symptom = "faint-print"
		}
	case Readings:
		symptom = ""
		x.Try = []string{"Measure again, patch by patch, in the order of the page: the names stand beside the patches."}
	}
	x.finish(symptom, caution)
}

func (x *Cause) supply() {
	symptom, what := "faint-print", "the supplies"
	if x.Channel != nil {
		what = "the supply of " + *x.Channel
	}
	x.Try = []string{
		"Look at the level and the age of " + what + ", and at what the device itself says of it.",
		"Run the device's own colour calibration, and on an ink device its head cleaning: that costs least. Print the page again and measure it again.",
		"Exchange it, or else its drum or developer, for one known to be good; the part that the fault goes away with is the cause.",
	}
	switch {
	case x.rule("hue"):
		symptom = "color-mismatch"
	case x.Channel != nil && x.rule("one-light"):
		symptom = "missing-color"
	}
	x.finish(symptom, "Toner is fine dust: keep the part level, use no household vacuum cleaner, wipe with a dry cloth and wash skin with cold water. Parts inside may be hot and may move. Ink stains and irritates. The maker's documentation goes first.")
}

func (x *Cause) finish(symptom, caution string) {
	if symptom != "" {
		x.Symptom = &symptom
	}
	if caution != "" {
		x.Caution = &caution
	}
}

// rule reports whether a rule speaks for the cause.
func (x *Cause) rule(name string) bool {
	for _, r := range x.Because {
		if r.Rule == name {
			return true
		}
	}
	return false
}
