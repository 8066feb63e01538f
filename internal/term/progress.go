package term

import (
	"fmt"
	"io"
	"os"
	"sync"
	"time"

	"github.com/schollz/progressbar/v3"
)

// progressSteps is the resolution of the bar. The bar counts these steps and
// not the caller's units: the library closes a bar for good when it reaches
// its end, but the number of devices to read grows while a survey runs.
const progressSteps = 1000

// progressEvery bounds how often the line is drawn.
const progressEvery = 80 * time.Millisecond

// Progress is a line on a terminal that says how far a run is. On anything
// that is no terminal it writes nothing. It may be used from several
// goroutines.
type Progress struct {
	mu    sync.Mutex
	bar   *progressbar.ProgressBar // nil: nothing is drawn
	width func() int
	now   func() time.Time
	drawn time.Time
}

// NewProgress returns a progress line on f, which should be standard error so
// that results stay clean. When f is no terminal, or on is false, the line is
// never drawn.
func NewProgress(f *os.File, on bool) *Progress {
	if !on || !IsTerminal(f) {
		return &Progress{}
	}
	return newProgress(f, func() int { return Width(f) }, enableColor(f), time.Now)
}

func newProgress(w io.Writer, width func() int, codes bool, now func() time.Time) *Progress {
	return &Progress{width: width, now: now, bar: progressbar.NewOptions(progressSteps,
		progressbar.OptionSetWriter(w),
		progressbar.OptionSetWidth(progressBarCells),
		progressbar.OptionSetTheme(progressbar.ThemeASCII),
		progressbar.OptionUseANSICodes(codes),
		progressbar.OptionSetPredictTime(false),
		progressbar.OptionSetElapsedTime(false),
		progressbar.OptionSetRenderBlankState(false),
	)}
}

// Cells of the bar itself, and of all that the library draws around the label.
const (
	progressBarCells = 20
	progressOverhead = progressBarCells + 10
)

// Update says that done of total units are finished; label says what is going
// on. total may be 0 while it is not known, and may grow. Updates that follow
// each other closely are not all drawn.
func (p *Progress) Update(done, total int, label string) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.bar == nil || p.now().Sub(p.drawn) < progressEvery {
		return
	}
	p.drawn = p.now()
	room := 80
	if w := p.width(); w > 0 {
		room = w
	}
	text := ASCII(label)
	if total > 0 {
		text = fmt.Sprintf("%s %d/%d", text, done, total)
	}
	// Set draws only when the percentage changed, Describe each time; so the
	// position first, then the text. An error of drawing is nothing to act upon:
	// a terminal that has gone away must not end a survey.
	_ = p.bar.Set(steps(done, total))
	p.bar.Describe(Truncate(text, max(room-progressOverhead, 1), PlainEllipsis))
}

// steps keeps the bar below its end until the run says that it is done.
func steps(done, total int) int {
	if total <= 0 || done <= 0 {
		return 0
	}
	return min(int(int64(done)*progressSteps/int64(total)), progressSteps-1)
}

// Done removes the line from the terminal. Later calls of Update draw nothing.
func (p *Progress) Done() {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.bar == nil {
		return
	}
	_ = p.bar.Clear()
	p.bar = nil
}
