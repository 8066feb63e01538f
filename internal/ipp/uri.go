package ipp

import (
	"net"
	"net/netip"
	"net/url"
	"strconv"
	"strings"
)

// DefaultPort is the TCP port of both ipp and ipps (RFC 8010 section 4,
// RFC 7472 section 4.2).
const DefaultPort = 631

// defaultPaths are tried after the path that DNS-SD told. The first is that of
// IPP Everywhere printers, the others are what older printers use (common
// practice, no source).
var defaultPaths = []string{"/ipp/print", "/ipp/printer", "/ipp", "/"}

// maxPath bounds a resource path from a device, in octets.
const maxPath = 512

// Target is a printer to ask.
type Target struct {
	Addr    netip.Addr // the only address that is ever connected to
	Port    uint16     // of ipp; 0: 631
	TLSPort uint16     // of ipps; 0: that of ipp
	Path    string     // resource path from DNS-SD, with or without the first slash; empty: not known
	Host    string     // host name from DNS-SD, to recognise the device's own URIs; may be empty
	TLS     *bool      // whether ipps is announced; nil: not known
}

func (t Target) withDefaults() Target {
	if t.Port == 0 {
		t.Port = DefaultPort
	}
	if t.TLSPort == 0 {
		t.TLSPort = t.Port
	}
	return t
}

// paths returns the resource paths to try, the announced one first.
func (t Target) paths() []string {
	var all []string
	if p, ok := cleanPath(t.Path); ok && t.Path != "" {
		all = append(all, p)
	}
	for _, p := range defaultPaths {
		if len(all) == 0 || all[0] != p {
			all = append(all, p)
		}
	}
	return all
}

// cleanPath makes a resource path safe to be put into a request line.
func cleanPath(p string) (string, bool) {
	if len(p) > maxPath {
		return "", false
	}
	u, err := url.Parse("http://host/" + strings.TrimLeft(p, "/"))
	if err != nil || u.Host != "host" {
		return "", false
	}
	return requestURI(u), true
}

// requestURI is the path and query of a URL. A query may hold spaces, which
// would end the request line there.
func requestURI(u *url.URL) string { return strings.ReplaceAll(u.RequestURI(), " ", "%20") }

// endpoint is one place to send requests to.
type endpoint struct {
	secure bool
	port   uint16
	path   string // escaped, with the query if there is one
}

// hostPort is the address literal for URLs and the Host field. The zone of a
// link-local address has a meaning on this host only and is left out
// (RFC 6874 section 1).
func (t Target) hostPort(port uint16) string {
	return net.JoinHostPort(t.Addr.WithZone("").String(), strconv.Itoa(int(port)))
}

func (t Target) httpURL(e endpoint) string {
	if e.secure {
		return "https://" + t.hostPort(e.port) + e.path
	}
	return "http://" + t.hostPort(e.port) + e.path
}

// printerURI is the printer-uri of requests to the endpoint (RFC 8010
// section 4, RFC 7472 section 4.3).
func (t Target) printerURI(e endpoint) string {
	if e.secure {
		return "ipps://" + t.hostPort(e.port) + e.path
	}
	return "ipp://" + t.hostPort(e.port) + e.path
}

// resolve reads a URI that the device gave, in the Location field or in
// printer-uri-supported, relative to the endpoint. It is of use only if it
// stays on the same host and on a port that IPP is known to use: what a device
// says must not send the tool elsewhere, and never to a raw printing port.
func (t Target) resolve(from endpoint, raw string) (endpoint, bool) {
	if len(raw) > 2*maxPath {
		return endpoint{}, false
	}
	base, err := url.Parse(t.httpURL(from))
	if err != nil {
		return endpoint{}, false
	}
	u, err := base.Parse(strings.TrimSpace(raw))
	if err != nil || !t.names(u.Hostname()) {
		return endpoint{}, false
	}
	to := endpoint{}
	switch u.Scheme {
	case "ipps":
		to = endpoint{secure: true, port: DefaultPort}
	case "https":
		to = endpoint{secure: true, port: 443}
	case "ipp":
		to = endpoint{port: DefaultPort}
	case "http":
		to = endpoint{port: 80}
	default:
		return endpoint{}, false
	}
	if p := u.Port(); p != "" {
		n, err := strconv.ParseUint(p, 10, 16)
		if err != nil || n == 0 {
			return endpoint{}, false
		}
		to.port = uint16(n)
	}
	switch to.port {
	case from.port, t.Port, t.TLSPort, DefaultPort, 80, 443:
	default:
		return endpoint{}, false
	}
	if to.path = requestURI(u); len(to.path) > maxPath || !strings.HasPrefix(to.path, "/") {
		return endpoint{}, false
	}
	return to, true
}

// names reports whether host means the target.
func (t Target) names(host string) bool {
	if a, err := netip.ParseAddr(host); err == nil {
		return a.Unmap().WithZone("") == t.Addr.Unmap().WithZone("")
	}
	if t.Addr.IsLoopback() && strings.EqualFold(host, "localhost") {
		return true
	}
	known := strings.TrimSuffix(t.Host, ".")
	return known != "" && strings.EqualFold(strings.TrimSuffix(host, "."), known)
}
