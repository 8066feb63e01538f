// Package printport knows the TCP ports that print whatever they are sent.
package printport

// Raw reports whether a port may print what it is sent, or hold up a queue
// when it is merely opened: LPD (RFC 1179 section 3.1) and the ports of
// socket-based printing, of which external print servers have one for each
// printer (common practice, no source).
func Raw(port uint16) bool { return port == 515 || port >= 9100 && port <= 9102 }
