package device

// Catalogue is what a technician knows of the models in the field and no
// protocol tells: part numbers, roller diameters, service intervals. It comes
// from the site file; every entry is optional.
type Catalogue struct {
	Parts  []CataloguePart
	Models []Model
}

// CataloguePart is an orderable part. Of several entries that fit, the one with
// a Model goes before the one without.
type CataloguePart struct {
	Model    string // make and model it fits, case-insensitive; a trailing * matches any rest; empty: every model
	Supply   string // PrtMarkerSuppliesTypeTC label or part class of the advice, such as toner, opc, fuser, feed roller kit
	Colorant string // black, cyan, …; empty: any
	Number   string // order number
	Name     string // in words; may be empty
}

// Model is what is known of a make and model.
type Model struct {
	Match         string // make and model, matched as in CataloguePart
	Rollers       []Roller
	Services      []ServiceInterval
	PagesPerMonth int // load the maker recommends; 0: not stated
}

// Roller is a part that turns with the sheet and can leave a mark once a turn.
type Roller struct {
	Name        string  // such as photoconductor drum, fuser roller
	DiameterMM  float64 // > 0
	ToleranceMM float64 // of the repeat interval (half width), > 0
	Part        string  // class of part that replaces it
}

// ServiceInterval is the life of a part in pages.
type ServiceInterval struct {
	Part  string // class of part, such as fuser, feed roller kit, maintenance kit
	Pages int    // > 0
}
