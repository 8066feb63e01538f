//go:build !linux

package discover

import "net/netip"

func neighbourRoom() int { return -1 }

func linkRoutes() []netip.Prefix { return nil }
