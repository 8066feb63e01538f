// Package send brings a proof to a device over IPP: it settles format, medium,
// tray, sides and colours between what is wanted and what the device offers,
// refuses what would not come out, sends the document once, and follows the job
// to its end. It never asks a person: whoever calls it has done that.
package send
