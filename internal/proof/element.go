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
	Last    bool // there is no page to look at any further
}

// elements in the order of the page, from what comes first to the eye.
var elements = []Element{
	{
		ID: "sheet", Title: "The sheet", Look: "One sheet, flat, with the print that was sent.",
		Symptom: []string{"blank-page", "garbled-characters", "printed-twice", "creased", "curled", "wrong-size", "wrong-orientation"},
		Ask:     "Did one flat sheet come out, with the page on it?",
		Answers: []Answer{
			{Text: "nothing at all", Symptom: "jobs-pile-up", Last: true},
			{Text: "a blank sheet", Symptom: "blank-page", Last: true},
			{Text: "strange characters, or commands as text", Symptom: "garbled-characters", Last: true},
			{Text: "the page twice or more", Symptom: "printed-twice"},
			{Text: "several sheets stuck together, one of them printed", Symptom: "several-sheets"},
			{Text: "a creased sheet", Symptom: "creased"},
			{Text: "a curled sheet", Symptom: "curled"},
			{Text: "another paper size than was sent, or the print made smaller or larger", Symptom: "wrong-size"},
			{Text: "the print turned against the sheet", Symptom: "wrong-orientation"},
		},
	},
	{
		ID: "frame", Title: "Frame and margins", Look: "Four sides, 10.0 mm from each edge. Steps at the edges: the smallest number seen is the margin.",
		Symptom: []string{"image-cut-off", "image-shifted", "skew"},
		Ask:     "The frame: four sides, each 10 mm from the edge of the sheet and parallel to it?",
		Answers: []Answer{
			{Text: "a side is missing, or numbers above 6 of the steps at an edge", Symptom: "image-cut-off"},
			{Text: "straight, but more than 2 mm nearer to one edge than to the other", Symptom: "image-shifted"},
			{Text: "not parallel to the edges", Symptom: "skew"},
		},
	},
	{
		ID: "rulers", Title: "Rulers", Look: "Numbers are mm from the edge. From 20 to 180 must measure 160.0 mm, within 1 mm, both ways.",
		Symptom: []string{"wrong-size", "skew"},
		Ask:     "The rulers: 160 mm from 20 to 180, across and along, within 1 mm?",
		Answers: []Answer{
			{Text: "both are off by the same share: the page was scaled", Symptom: "wrong-size"},
			{Text: "one is off, the other not", Symptom: "image-shifted"},
			{Text: "the rulers are not square to each other", Symptom: "skew"},
		},
	},
	{
		ID: "ghost", Title: "Ghost and repeating marks",
		Look:    "Nothing below the pattern, nor beside it if a side edge came out first. A shadow or mark: read its distance on the ruler.",
		Symptom: []string{"ghost", "repeating-mark", "background-haze"},
		Ask:     "The clear fields below and beside the strong pattern: clean?",
		Answers: []Answer{
			{Text: "a shadow of the pattern", Symptom: "ghost"},
			{Text: "a mark or spot, again and again at one distance", Symptom: RepeatingMark},
			{Text: "a veil or fine specks", Symptom: "background-haze"},
			{Text: "a line along the feed", Symptom: "lengthwise-line"},
		},
	},
	{
		ID: "density", Title: "Density", Look: "Each step darker than the one before it; 5 told from 0, and 95 from 100.",
		Symptom: []string{"faint-print", "background-haze"},
		Ask:     "The density steps: each darker than the one before, 100 fully black?",
		Answers: []Answer{
			{Text: "light all over, 100 is grey", Symptom: "faint-print"},
			{Text: "5 and 10 are not there", Symptom: "faint-print"},
			{Text: "0 is not white", Symptom: "background-haze"},
		},
	},
	{
		ID: "hairlines", Title: "Hairlines, mm", Look: "Each line unbroken and even, dark on light and light on dark, across like along.",
		Symptom: []string{"faint-print", "lengthwise-line", "crosswise-line"},
		Ask:     "The hairlines: unbroken from 0.2 mm on, across and along?",
		Answers: []Answer{
			{Text: "thin lines are broken or not there", Symptom: "faint-print"},
			{Text: "white lines are filled in", Symptom: "background-haze"},
			{Text: "good in one direction only", Symptom: "crosswise-line"},
		},
	},
	{
		ID: "text", Title: "Text", Look: "4 pt can be read; no edge is doubled, furred or broken.",
		Symptom: []string{"faint-print", "smear", "garbled-characters"},
		Ask:     "The text: sharp, and 5 pt easily read?",
		Answers: []Answer{
			{Text: "thin or broken letters", Symptom: "faint-print"},
			{Text: "doubled letters", Symptom: "ghost"},
			{Text: "smeared letters", Symptom: "smear"},
			{Text: "wrong characters", Symptom: "garbled-characters"},
		},
	},
	{
		ID: "rub", Title: "Rub test", Look: "Let it cool. A dry white cloth, ten strokes over the edge of the patch: the cloth and the white stay clean.",
		Symptom: []string{"smear"},
		Ask:     "The rub test: does the cloth stay clean?",
		Answers: []Answer{{Text: "print comes off or smears", Symptom: "smear"}},
	},
	{
		ID: "even", Title: "Even grey", Look: "Even all over: no band, line, spot or mottle.",
		Symptom: []string{"crosswise-line", "lengthwise-line", "repeating-mark"},
		Ask:     "The even grey: without bands, lines and spots?",
		Answers: []Answer{
			{Text: "a line or streak along the feed", Symptom: "lengthwise-line"},
			{Text: "a band or gap across it", Symptom: "crosswise-line"},
			{Text: "spots or bands at one distance", Symptom: RepeatingMark},
			{Text: "lighter on one side", Symptom: "faint-print"},
		},
	},
	{
		ID: "registration", Title: "Register of colours", Color: true,
		Look:    "The parts of each line meet without a step, and no coloured edge shows at the crosses. A step of one line width is 0.2 mm.",
		Symptom: []string{"color-mismatch"},
		Ask:     "The register of colours: lines without steps, crosses without coloured edges?",
		Answers: []Answer{{Text: "steps, or coloured edges", Symptom: "color-mismatch"}},
	},
	{
		ID: "solids", Title: "Solids", Color: true, Look: "Eight full, even tones; the letters sharp in each.",
		Symptom: []string{"missing-color", "color-mismatch", "faint-print"},
		Ask:     "The solids: all there, full and even?",
		Answers: []Answer{
			{Text: "one is missing, or is another colour than its name", Symptom: "missing-color"},
			{Text: "everything is black and white", Symptom: "missing-color"},
			{Text: "one is faint", Symptom: "faint-print"},
		},
	},
	{
		ID: "patches", Title: "Colour patches", Color: true,
		Look:    "Steps even; N1 to N6 grey without a tinge. Values sent: sRGB, and its CIELAB (D50) to measure against.",
		Symptom: []string{"color-mismatch", "missing-color"},
		Ask:     "The patches: N1 to N6 grey without a tinge, steps even?",
		Answers: []Answer{
			{Text: "greys have a tinge", Symptom: "color-mismatch"},
			{Text: "colours unlike those of another page that is good", Symptom: "color-mismatch"},
			{Text: "a row is missing", Symptom: "missing-color"},
		},
	},
	{
		ID: "bands", Title: "Bands across the sheet", Look: "Full and even from edge to edge. A line that crosses all of them runs along the feed; where the sheet is white it shows dark.",
		Symptom: []string{"lengthwise-line", "crosswise-line", "faint-print"},
		Ask:     "The bands across the sheet: full and even from edge to edge?",
		Answers: []Answer{
			{Text: "a line or streak along the feed", Symptom: "lengthwise-line"},
			{Text: "a line or gap across it", Symptom: "crosswise-line"},
			{Text: "lighter on one side", Symptom: "faint-print"},
			{Text: "one colour is missing", Symptom: "missing-color"},
		},
	},
	{
		ID: "back", Title: "Second side", Back: true,
		Look:    "Against the light the frames of both sides lie on each other, within 2 mm. TOP lies as it says.",
		Symptom: []string{"image-shifted", "skew", "wrong-orientation"},
		Ask:     "The second side, against the light: do the frames lie on each other within 2 mm, and TOP as it says?",
		Answers: []Answer{
			{Text: "shifted against each other", Symptom: "image-shifted"},
			{Text: "turned against each other a little", Symptom: "skew"},
			{Text: "upside down", Symptom: "wrong-orientation"},
			{Text: "the second side came on a sheet of its own", Symptom: "wrong-orientation"},
			{Text: "dirt or a shadow on it that the first side has not", Symptom: "smear"},
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
