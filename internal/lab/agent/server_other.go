//go:build !linux

package agent

import "errors"

// OneSocket tells whether ListenAll works on this system.
const OneSocket = false

// ListenAll is not supported here: use ListenEach.
func ListenAll(int, Find) (*Server, error) {
	return nil, errors.New("one socket for all loopback addresses works on Linux only")
}
