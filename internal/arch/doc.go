// Package arch holds the rules about the shape of the source: which package may
// reach which, which library is used where, and what must never be in the code.
// All of them are tests that read the source in their own process.
package arch
