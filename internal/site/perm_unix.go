//go:build unix

package site

import "io/fs"

// worldReadable reports whether everybody on the machine may read the file.
// Pipes and sockets have no lasting content to protect.
func worldReadable(info fs.FileInfo) bool {
	return info.Mode().IsRegular() && info.Mode().Perm()&0o004 != 0
}
