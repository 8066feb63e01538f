//go:build !windows

package discover

import (
	"errors"
	"syscall"
)

// isNetworkGone reports whether a send failed because this system has no way
// there: an interface is down, or its address or route is gone.
func isNetworkGone(err error) bool {
	return errors.Is(err, syscall.ENETDOWN) || errors.Is(err, syscall.ENETUNREACH) || errors.Is(err, syscall.EADDRNOTAVAIL) ||
		errors.Is(err, syscall.ENXIO) || errors.Is(err, syscall.ENODEV)
}
