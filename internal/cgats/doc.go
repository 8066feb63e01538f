// Package cgats reads CGATS.17 text, the open exchange format in which
// instruments write down patches and what they measured: keywords, a list of
// fields, and rows of values, for one table or several. The text of the standard
// was not at hand: the structure is from memory. What the file leaves out is
// left out here too; what it says twice or wrongly is an error with its line.
// Nothing is interpreted: see Table.Numbers for numbers.
package cgats
