// Package survey reads devices over SNMP and IPP, joins both views of a device
// into one, and runs many of them in a bounded, streaming pipeline fed by
// discovery.
package survey
