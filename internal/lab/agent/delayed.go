package agent

import (
	"container/heap"
	"sync"
	"time"
)

// delayed carries answers out at their time with one goroutine for all of
// them.
type delayed struct {
	mu    sync.Mutex
	queue dueHeap
	wake  chan struct{}
	quit  chan struct{}
	done  chan struct{}
	once  sync.Once
}

type due struct {
	at time.Time
	do func()
}

type dueHeap []due

func (q dueHeap) Len() int           { return len(q) }
func (q dueHeap) Less(i, j int) bool { return q[i].at.Before(q[j].at) }
func (q dueHeap) Swap(i, j int)      { q[i], q[j] = q[j], q[i] }
func (q *dueHeap) Push(x any)        { *q = append(*q, x.(due)) }
func (q *dueHeap) Pop() any {
	old := *q
	last := old[len(old)-1]
	old[len(old)-1] = due{}
	*q = old[:len(old)-1]
	return last
}

func newDelayed() *delayed {
	d := &delayed{wake: make(chan struct{}, 1), quit: make(chan struct{}), done: make(chan struct{})}
	go d.run()
	return d
}

func (d *delayed) add(at time.Time, do func()) {
	d.mu.Lock()
	first := len(d.queue) == 0 || at.Before(d.queue[0].at)
	heap.Push(&d.queue, due{at, do})
	d.mu.Unlock()
	if first {
		select {
		case d.wake <- struct{}{}:
		default:
		}
	}
}

// stop drops what is still waiting.
func (d *delayed) stop() {
	d.once.Do(func() { close(d.quit) })
	<-d.done
}

func (d *delayed) run() {
	defer close(d.done)
	timer := time.NewTimer(time.Hour)
	defer timer.Stop()
	for {
		wait := d.carryOut()
		timer.Reset(wait)
		select {
		case <-d.quit:
			return
		case <-d.wake:
		case <-timer.C:
		}
	}
}

// carryOut does what is due and returns how long until the next.
func (d *delayed) carryOut() time.Duration {
	for {
		d.mu.Lock()
		if len(d.queue) == 0 {
			d.mu.Unlock()
			return time.Hour
		}
		if wait := time.Until(d.queue[0].at); wait > 0 {
			d.mu.Unlock()
			return wait
		}
		next := heap.Pop(&d.queue).(due)
		d.mu.Unlock()
		next.do()
	}
}
