package discover

import (
	"errors"
	"syscall"
)

// isNetworkGone reports whether a send failed because this system has no way
// there: WSAENETDOWN, WSAENETUNREACH, WSAEADDRNOTAVAIL.
func isNetworkGone(err error) bool {
	return errors.Is(err, syscall.Errno(10050)) || errors.Is(err, syscall.Errno(10051)) || errors.Is(err, syscall.Errno(10049))
}
