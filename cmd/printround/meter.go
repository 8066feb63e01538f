package main

import (
	"fmt"
	"sync"

	"printround/internal/survey"
	"printround/internal/term"
)

// meter draws one progress line for several surveys at once.
type meter struct {
	mu    sync.Mutex
	line  *term.Progress
	parts []survey.Progress
}

func newMeter(a *app, n int) *meter {
	return &meter{line: term.NewProgress(a.stderr, true), parts: make([]survey.Progress, n)}
}

func (m *meter) part(i int) func(survey.Progress) {
	return func(g survey.Progress) {
		m.mu.Lock()
		defer m.mu.Unlock()
		m.parts[i] = g
		sent, probes, found, read := 0, 0, 0, 0
		for _, q := range m.parts {
			sent, probes = sent+q.Discover.Sent, probes+max(q.Discover.Probes, q.Discover.Sent)
			found, read = found+q.Found, read+q.Read
		}
		m.line.Update(sent+read, probes+found, fmt.Sprintf("%d printers found, %d read,", found, read))
	}
}

func (m *meter) done() { m.line.Done() }
