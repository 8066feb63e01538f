// Package symptom goes from what a person sees or hears (a line along the page,
// a squeal) to the causes that fit the device, in order, with what to try
// first. The order comes from a small explicit model: prior odds of each cause
// times the likelihood ratio of each known fact of the device, both data. It
// also does the arithmetic of marks that repeat: interval, diameter, and the
// part that turns with it. It reads facts only and touches no network.
package symptom
