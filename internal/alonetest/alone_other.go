//go:build !linux

package alonetest

func isolated() (status int, ran bool) { return 0, false }
