package lab

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net/netip"
	"os"
	"time"

	"printround/internal/lab/agent"
)

// Recording is a recorded device to be served: the values of a walk.
type Recording struct {
	tree *agent.Tree
}

// ReadRecording reads a recording in the snmprec text form, one
// `OID|TAG|VALUE` a line.
func ReadRecording(r io.Reader) (*Recording, error) {
	t, err := agent.ReadRecording(r)
	if err != nil {
		return nil, err
	}
	return &Recording{t}, nil
}

// OpenRecording reads a recording from a file.
func OpenRecording(path string) (*Recording, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	r, err := ReadRecording(f)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	return r, nil
}

// Len is the number of object instances.
func (r *Recording) Len() int { return r.tree.Len() }

// Replay serves recordings on loopback over SNMP v1 and v2c; the community
// public is answered.
type Replay struct {
	server *agent.Server
	hosts  map[netip.Addr]*agent.Host
}

// ServeRecordings starts a replay of one recording for each address, all on
// one port; port 0 takes a free one. It ends with ctx or with Close.
func ServeRecordings(ctx context.Context, port int, at map[netip.Addr]*Recording) (*Replay, error) {
	if len(at) == 0 {
		return nil, errors.New("no recording to serve")
	}
	p := &Replay{hosts: map[netip.Addr]*agent.Host{}}
	for a, r := range at {
		h := &agent.Host{V1: true, V2c: true, Communities: []string{"public"}, Booted: time.Now()}
		h.Serve(r.tree)
		p.hosts[a] = h
	}
	err := p.listen(port)
	for range tries {
		if err == nil || port != 0 {
			break
		}
		err = p.listen(0)
	}
	if err != nil {
		return nil, err
	}
	context.AfterFunc(ctx, func() { p.Close() })
	return p, nil
}

func (p *Replay) listen(port int) (err error) {
	if port == 0 {
		if port, err = freePort("udp"); err != nil {
			return err
		}
	}
	var places []netip.AddrPort
	for a := range p.hosts {
		places = append(places, netip.AddrPortFrom(a, uint16(port)))
	}
	p.server, err = agent.ListenEach(places, p.find)
	return err
}

func (p *Replay) find(at netip.AddrPort, _ time.Time) (*agent.Host, time.Duration, bool) {
	h := p.hosts[at.Addr()]
	return h, 0, h != nil
}

// Port is the UDP port of all addresses.
func (p *Replay) Port() int { return p.server.Port() }

// Close ends the replay.
func (p *Replay) Close() error { return p.server.Close() }

// Record returns the values that a device answers now, in the snmprec text
// form.
func (l *Lab) Record(w io.Writer, name string) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	if err := l.known(name); err != nil {
		return err
	}
	n, _ := l.machine(name)
	if n.host == nil {
		return fmt.Errorf("%s does not speak SNMP", name)
	}
	return n.host.Tree().WriteRecording(w, n.host, time.Now())
}
