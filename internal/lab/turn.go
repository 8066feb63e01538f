package lab

import (
	"context"
	"fmt"
	"net"
	"net/netip"
	"strings"
	"sync"
	"time"
)

// Labs that announce themselves over DNS-SD hear each other, also from other
// processes: one that shared its addresses with another would send clients to
// the other's ports. So each takes a number, the first of which is the
// scenario as written; the others stand on addresses of their own, under names
// of their own.

const (
	turnPort = 47320            // on an address that no device has
	maxTurns = 32               // labs at the same time
	maxWait  = 60 * time.Second // for the first number
	turnPoll = 50 * time.Millisecond
)

// What the holder of a number tells those who ask.
const (
	passing = 'p' // ends soon: wait for it
	staying = 's' // runs until somebody ends it
)

// turn is a number that is held.
type turn struct {
	number int
	l      net.Listener
	loop   sync.WaitGroup
}

// turnAddr is where number n is held.
func turnAddr(n int) netip.AddrPort {
	own := netip.AddrFrom4([4]byte{127, firstOctet, 255, 254})
	if !canBind(own) {
		own = loopback
	}
	return netip.AddrPortFrom(own, uint16(turnPort+n))
}

// takeTurn takes the first free number. It waits for the first one while its
// holder says that it ends soon.
func takeTurn(ctx context.Context, stay bool) (*turn, error) {
	ctx, cancel := context.WithTimeout(ctx, maxWait)
	defer cancel()
	for {
		for n := range maxTurns {
			if t, err := grab(n, stay); err == nil {
				return t, nil
			}
			if n == 0 && ctx.Err() == nil && holder(ctx, turnAddr(0)) != staying {
				break
			}
		}
		select {
		case <-time.After(turnPoll):
		case <-ctx.Done():
			if context.Cause(ctx) != context.DeadlineExceeded {
				return nil, ctx.Err()
			}
			return lastTurn(stay)
		}
	}
}

// lastTurn takes any number after the waiting has been in vain.
func lastTurn(stay bool) (*turn, error) {
	var last error
	for n := range maxTurns {
		t, err := grab(n, stay)
		if err == nil {
			return t, nil
		}
		last = err
	}
	return nil, fmt.Errorf("%d labs run already: %w", maxTurns, last)
}

// grab takes number n if it is free.
func grab(n int, stay bool) (*turn, error) {
	l, err := net.Listen("tcp4", turnAddr(n).String())
	if err != nil {
		return nil, err
	}
	t := &turn{number: n, l: l}
	t.loop.Go(func() { t.tell(stay) })
	return t, nil
}

// holder asks who holds a number; 0 when nobody answers.
func holder(ctx context.Context, at netip.AddrPort) byte {
	d := net.Dialer{Timeout: time.Second}
	c, err := d.DialContext(ctx, "tcp4", at.String())
	if err != nil {
		return 0
	}
	defer c.Close()
	_ = c.SetReadDeadline(time.Now().Add(time.Second))
	var b [1]byte
	if n, _ := c.Read(b[:]); n == 0 {
		return 0
	}
	return b[0]
}

func (t *turn) tell(stay bool) {
	word := []byte{passing}
	if stay {
		word = []byte{staying}
	}
	for {
		c, err := t.l.Accept()
		if err != nil {
			return
		}
		_, _ = c.Write(word) // whoever asked may have gone
		c.Close()
	}
}

func (t *turn) giveBack() {
	t.l.Close()
	t.loop.Wait()
}

// firstOctet is the second octet of the scenario's addresses as written.
const firstOctet = 20

// renumber moves the scenario to the addresses of lab number n.
func (s *scenario) renumber(n int) {
	if n == 0 {
		return
	}
	move := func(a string) string {
		return strings.ReplaceAll(a, fmt.Sprintf("127.%d.", firstOctet), fmt.Sprintf("127.%d.", firstOctet+n))
	}
	for _, p := range s.Devices {
		p.Address, p.Second = move(p.Address), move(p.Second)
	}
	for _, o := range s.Others {
		o.Address = move(o.Address)
	}
	for i := range s.Branches {
		b := &s.Branches[i]
		for k := range b.Targets {
			b.Targets[k] = move(b.Targets[k])
		}
		for k := range b.Skip {
			b.Skip[k] = move(b.Skip[k])
		}
	}
}
