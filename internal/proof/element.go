package proof

// Element is one part of the page: what should be seen of it, and of which
// symptoms it speaks. The words are printed beside it and asked for by Questions.
// They are common practice, no source.
type Element struct {
	ID      string
	Title   string
	Look    string   // what a good one looks like
	Symptom []string // names of symptoms that a bad one points to
	Ask     string   // question to the person who has the page in hand
	Answers []Answer // what may be seen instead of a good one
	Color   bool     // on colour devices only
	Back    bool     // on the second side only
}

// Answer is something that may be seen, and the symptom that it is.
type Answer struct {
	Text    string
	Symptom string
}

// elements in the order of the page, from what comes first to the eye.
var elements = []Element{
	{
		ID: "sheet", Title: "The sheet", Look: "One sheet, flat, with the print that was sent.",
		Symptom: []string{"blank-page", "garbled-characters", "printed-twice", "creased", "curled", "wrong-size", "wrong-orientation"},
		Ask:     "What came out?",
		Answers: []Answer{
			{"nothing at all", "jobs-pile-up"},
			{"a blank sheet", "blank-page"},
			{"strange characters, or commands as text", "garbled-characters"},
			{"the page twice or more", "printed-twice"},
			{"several sheets stuck together, one of them printed", "several-sheets"},
			{"a creased sheet", "creased"},
			{"a curled sheet", "curled"},
			{"another paper size than was sent, or the print made smaller or larger", "wrong-size"},
			{"the print turned against the sheet", "wrong-orientation"},
		},
	},
	{
		ID: "frame", Title: "Frame and margins", Look: "Four sides, 10.0 mm from each edge. Steps at the edges: the smallest number seen is the margin.",
		Symptom: []string{"image-cut-off", "image-shifted", "skew"},
		Ask:     "The frame: four sides, each 10 mm from the edge of the sheet and parallel to it?",
		Answers: []Answer{
			{"a side is missing, or numbers above 6 of the steps at an edge", "image-cut-off"},
			{"straight, but more than 2 mm nearer to one edge than to the other", "image-shifted"},
			{"not parallel to the edges", "skew"},
		},
	},
	{
		ID: "rulers", Title: "Rulers", Look: "Numbers are mm from the edge. From 20 to 180 must measure 160.0 mm, within 1 mm, both ways.",
		Symptom: []string{"wrong-size", "skew"},
		Ask:     "The rulers: 160 mm from 20 to 180, across and along, within 1 mm?",
		Answers: []Answer{
			{"both are off by the same share: the page was scaled", "wrong-size"},
			{"one is off, the other not", "image-shifted"},
			{"the rulers are not square to each other", "skew"},
		},
	},
	{
		ID: "ghost", Title: "Ghost and repeating marks",
		Look:    "Nothing below the pattern, nor beside it if a side edge came out first. A shadow or mark: read its distance on the ruler.",
		Symptom: []string{"ghost", "repeating-mark", "background-haze"},
		Ask:     "The clear fields below and beside the strong pattern: clean?",
		Answers: []Answer{
			{"a shadow of the pattern", "ghost"},
			{"a mark or spot, again and again at one distance", RepeatingMark},
			{"a veil or fine specks", "background-haze"},
			{"a line along the feed", "lengthwise-line"},
		},
	},
	{
		ID: "density", Title: "Density", Look: "Each step darker than the one before it; 5 told from 0, and 95 from 100.",
		Symptom: []string{"faint-print", "background-haze"},
		Ask:     "The density steps: each darker than the one before, 100 fully black?",
		Answers: []Answer{
			{"light all over, 100 is grey", "faint-print"},
			{"5 and 10 are not there", "faint-print"},
			{"0 is not white", "background-haze"},
		},
	},
	{
		ID: "hairlines", Title: "Hairlines, mm", Look: "Each line unbroken and even, dark on light and light on dark, across like along.",
		Symptom: []string{"faint-print", "lengthwise-line", "crosswise-line"},
		Ask:     "The hairlines: unbroken from 0.2 mm on, across and along?",
		Answers: []Answer{
			{"thin lines are broken or not there", "faint-print"},
			{"white lines are filled in", "background-haze"},
			{"good in one direction only", "crosswise-line"},
		},
	},
	{
		ID: "text", Title: "Text", Look: "4 pt can be read; no edge is doubled, furred or broken.",
		Symptom: []string{"faint-print", "smear", "garbled-characters"},
		Ask:     "The text: sharp, and 5 pt easily read?",
		Answers: []Answer{
			{"thin or broken letters", "faint-print"},
			{"doubled letters", "ghost"},
			{"smeared letters", "smear"},
			{"wrong characters", "garbled-characters"},
		},
	},
	{
		ID: "rub", Title: "Rub test", Look: "Let it cool. A dry white cloth, ten strokes over the edge of the patch: the cloth and the white stay clean.",
		Symptom: []string{"smear"},
		Ask:     "The rub test: does the cloth stay clean?",
		Answers: []Answer{{"print comes off or smears", "smear"}},
	},
	{
		ID: "even", Title: "Even grey", Look: "Even all over: no band, line, spot or mottle.",
		Symptom: []string{"crosswise-line", "lengthwise-line", "repeating-mark"},
		Ask:     "The even grey: without bands, lines and spots?",
		Answers: []Answer{
			{"a line or streak along the feed", "lengthwise-line"},
			{"a band or gap across it", "crosswise-line"},
			{"spots or bands at one distance", RepeatingMark},
			{"lighter on one side", "faint-print"},
		},
	},
	{
		ID: "registration", Title: "Register of colours", Color: true,
		Look:    "The parts of each line meet without a step, and no coloured edge shows at the crosses. A step of one line width is 0.2 mm.",
		Symptom: []string{"color-mismatch"},
		Ask:     "The register of colours: lines without steps, crosses without coloured edges?",
		Answers: []Answer{{"steps, or coloured edges", "color-mismatch"}},
	},
	{
		ID: "solids", Title: "Solids", Color: true, Look: "Eight full, even tones; the letters sharp in each.",
		Symptom: []string{"missing-color", "color-mismatch", "faint-print"},
		Ask:     "The solids: all there, full and even?",
		Answers: []Answer{
			{"one is missing, or is another colour than its name", "missing-color"},
			{"everything is black and white", "missing-color"},
			{"one is faint", "faint-print"},
		},
	},
	{
		ID: "patches", Title: "Colour patches", Color: true,
		Look:    "Steps even; N1 to N6 grey without a tinge. Values sent: sRGB, and its CIELAB (D50) to measure against.",
		Symptom: []string{"color-mismatch", "missing-color"},
		Ask:     "The patches: N1 to N6 grey without a tinge, steps even?",
		Answers: []Answer{
			{"greys have a tinge", "color-mismatch"},
			{"colours unlike those of another page that is good", "color-mismatch"},
			{"a row is missing", "missing-color"},
		},
	},
	{
		ID: "bands", Title: "Bands across the sheet", Look: "Full and even from edge to edge. A line that crosses all of them runs along the feed; where the sheet is white it shows dark.",
		Symptom: []string{"lengthwise-line", "crosswise-line", "faint-print"},
		Ask:     "The bands across the sheet: full and even from edge to edge?",
		Answers: []Answer{
			{"a line or streak along the feed", "lengthwise-line"},
			{"a line or gap across it", "crosswise-line"},
			{"lighter on one side", "faint-print"},
			{"one colour is missing", "missing-color"},
		},
	},
	{
		ID: "back", Title: "Second side", Back: true,
		Look:    "Against the light the frames of both sides lie on each other, within 2 mm. TOP lies as it says.",
		Symptom: []string{"image-shifted", "skew", "wrong-orientation"},
		Ask:     "The second side, against the light: do the frames lie on each other within 2 mm, and TOP as it says?",
		Answers: []Answer{
			{"shifted against each other", "image-shifted"},
			{"turned against each other a little", "skew"},
			{"upside down", "wrong-orientation"},
			{"the second side came on a sheet of its own", "wrong-orientation"},
			{"dirt or a shadow on it that the first side has not", "smear"},
		},
	},
}

// RepeatingMark is the symptom whose interval can be measured on the page.
const RepeatingMark = "repeating-mark"

// Questions are the elements that a page has, to be asked about one by one.
func Questions(color, twoSided bool) []Element {
	var out []Element
	for _, e := range elements {
		if (e.Color && !color) || (e.Back && !twoSided) {
			continue
		}
		out = append(out, e)
	}
	return out
}

func element(id string) Element {
	for _, e := range elements {
		if e.ID == id {
			return e
		}
	}
	panic("proof: there is no element " + id)
}
