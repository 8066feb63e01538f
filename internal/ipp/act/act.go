// Package act makes a printer do something over IPP: print a document, and
// nothing that changes how it is set up. Everything else only reads printers, so
// only the commands whose whole purpose is to act may import this package. It
// never asks a person: whoever calls it has done that.
package act

import (
	"context"
	"errors"
	"fmt"
	"net/netip"
	"net/url"
	"strconv"
	"time"

	"printround/internal/ipp"
)

// patience is how long one answer may take at least: a printer that has to wake
// up, or reads a whole document before it answers, takes longer than one that is
// only asked.
const patience = 30 * time.Second

// Printer is one printer that can be told to do something.
type Printer struct {
	s     *ipp.Session
	attrs ipp.Attributes
	uri   string
}

// Open asks the printer for what it offers, where it answered before: uri is
// an ipp or ipps URI with an address in it.
func Open(ctx context.Context, uri string, o ipp.Options) (*Printer, error) {
	t, err := Target(uri)
	if err != nil {
		return nil, err
	}
	o.Timeout = max(o.Timeout, patience)
	s := ipp.Open(t, o)
	a, err := s.Printer(ctx)
	if err == nil {
		uri = a.URI
		a, err = s.Ask(ctx, wanted)
	}
	if err != nil {
		s.Close()
		return nil, err
	}
	return &Printer{s: s, attrs: a.First(ipp.PrinterGroup), uri: uri}, nil
}

// Close ends the connection.
func (p *Printer) Close() { p.s.Close() }

// URI is where the printer answered.
func (p *Printer) URI() string { return p.uri }

// Target reads the URI of a printer. The host must be an address: names are
// looked up before, where it can be seen to what they lead.
func Target(uri string) (ipp.Target, error) {
	u, err := url.Parse(uri)
	if err != nil {
		return ipp.Target{}, fmt.Errorf("%q is no URI", uri)
	}
	addr, err := netip.ParseAddr(u.Hostname())
	if err != nil || u.Scheme != "ipp" && u.Scheme != "ipps" {
		return ipp.Target{}, fmt.Errorf("%q is no ipp or ipps URI with an address", uri)
	}
	port := uint64(ipp.DefaultPort)
	if text := u.Port(); text != "" {
		if port, err = strconv.ParseUint(text, 10, 16); err != nil || port == 0 {
			return ipp.Target{}, fmt.Errorf("%q has no port that there is", uri)
		}
	}
	t := ipp.Target{Addr: addr, Port: uint16(port), Path: u.RequestURI()}
	if u.Scheme == "ipp" {
		plain := false
		t.TLS = &plain
	}
	return t, nil
}

// Uncertain reports whether an error leaves open if the printer did what it was
// told.
func Uncertain(err error) bool { return errors.Is(err, ipp.ErrUncertain) }

// Refusal is an answer that says no.
type Refusal struct {
	Status  ipp.Status
	Message string   // the printer's own words; foreign, not cleaned
	Names   []string // attributes it cannot do; foreign, not cleaned
}

// Error is one line without the printer's own text.
func (r *Refusal) Error() string { return "the printer refused: " + r.Status.String() }

// refusal returns nil for an answer of the successful class.
func refusal(a *ipp.Answer) error {
	if a.Status().Successful() {
		return nil
	}
	return &Refusal{Status: a.Status(), Message: a.First(ipp.OperationGroup).Text("status-message"), Names: unsupported(a)}
}

// unsupported names the attributes that came back as not supported.
func unsupported(a *ipp.Answer) []string {
	var names []string
	for _, attr := range a.First(ipp.UnsupportedGroup) {
		names = append(names, attr.Name)
	}
	return names
}
