// Package zootest holds what a user gets from each misbehaviour of the lab: the
// facts that are kept, and one clear line about what went wrong. It has tests
// only.
package zootest
