// Package color compares the measured patches of a page with what they should
// be, and says which channel is off, by how much, and whether the device's
// calibration, a supply, the paper or a setting is the likelier cause. The rules
// are few, each gives its reason, and all of them and the tolerances are common
// practice, no source. What the patches do not tell is said too.
package color
