// Package ipp reads printers over the Internet Printing Protocol: it asks for
// printer attributes and jobs over its own HTTP client (RFC 8010, RFC 8011,
// RFC 7472) and turns the answers, and the key=value texts inside them
// (PWG 5100.9, PWG 5100.13), into typed attributes. Of itself it sends no
// operation that changes anything on a device: Operate is for package act alone.
// Decoding never opens a connection, so it runs
// on recordings.
package ipp

//go:generate go run gen.go
