// Package proof makes the diagnostic page: what is on it and why, as marks on a
// sheet in millimetres that know no page language, and the writers that put
// them into PDF, PWG raster (PWG 5102.4), PostScript and plain text. The same
// page in several languages tells a wrong driver from a faulty device. The page
// is of our own design; what it should show is printed beside each element,
// with the name of the symptom that it speaks of. It opens no connection.
package proof
