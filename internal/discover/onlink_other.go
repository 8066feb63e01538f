//go:build !linux

package discover

import "net/netip"

func neighbourLimit() int { return 0 }

func resolvedNeighbours() map[netip.Addr]bool { return nil }

func resolves(string) bool { return true }

func linkRoutes() []netip.Prefix { return nil }
