//go:build !linux

package agent

import "errors"

// ListenAll is not supported here: use ListenEach.
func ListenAll(int, Find) (*Server, error) {
	return nil, errors.New("one socket for all loopback addresses works on Linux only")
}
