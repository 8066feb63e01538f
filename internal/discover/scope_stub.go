package discover

// Scope is a set of targets.
type Scope struct{}
