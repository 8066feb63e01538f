package discover

import (
	"context"
	"sync"
)

// emitter passes candidates on. Its queue has no bound of its own, so that a
// slow taker never makes the sweep miss answers; there are at most a few
// candidates an address.
type emitter struct {
	mu     sync.Mutex
	queue  []Candidate
	wake   chan struct{}
	closed bool
}

func newEmitter() *emitter { return &emitter{wake: make(chan struct{}, 1)} }

func (e *emitter) put(c Candidate) {
	e.mu.Lock()
	e.queue = append(e.queue, c)
	e.mu.Unlock()
	e.ring()
}

// finish lets run return once everything is passed on.
func (e *emitter) finish() {
	e.mu.Lock()
	e.closed = true
	e.mu.Unlock()
	e.ring()
}

func (e *emitter) ring() {
	select {
	case e.wake <- struct{}{}:
	default:
	}
}

// run passes candidates on until finish is called or the context ends. A
// candidate that is known when the context ends is still offered to a taker
// that is ready.
func (e *emitter) run(ctx context.Context, found chan<- Candidate) {
	for {
		e.mu.Lock()
		batch, closed := e.queue, e.closed
		e.queue = nil
		e.mu.Unlock()
		for _, c := range batch {
			select {
			case found <- c:
				continue
			default:
			}
			select {
			case found <- c:
			case <-ctx.Done():
				return
			}
		}
		if len(batch) > 0 {
			continue
		}
		if closed {
			return
		}
		<-e.wake
	}
}
