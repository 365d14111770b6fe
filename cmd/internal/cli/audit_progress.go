package cli

import (
	"fmt"
	"sync"
	"time"

	"github.com/schollz/progressbar/v3"

	"tachbench/mixplan/audit"
)

// auditProgress shows on standard error how far an audit has come, at which
// rate, and how long it will still take, while a person watches.
type auditProgress struct {
	mu    sync.Mutex // an interrupted audit may still be reporting at the end
	on    bool
	s     Streams
	bar   *progressbar.ProgressBar
	begun time.Time
	shown time.Time
}

// redrawn is how often the line is drawn again.
const redrawn = 150 * time.Millisecond

func newAuditProgress(s Streams, quiet bool) *auditProgress {
	return &auditProgress{on: !quiet && s.watched(), s: s, begun: time.Now()}
}

// show draws the line again now and then. Errors are ignored: a progress
// line that cannot be drawn is no reason to stop.
func (p *auditProgress) show(now audit.Progress) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if !p.on || time.Since(p.shown) < redrawn || time.Since(p.begun) < redrawn {
		return
	}
	p.shown = time.Now()
	if p.bar == nil {
		p.bar = progressbar.NewOptions64(max(now.AllBytes, 1),
			progressbar.OptionSetWriter(p.s.Err),
			progressbar.OptionShowBytes(true),
			progressbar.OptionShowTotalBytes(false),
			progressbar.OptionSetPredictTime(false),
			progressbar.OptionSetElapsedTime(false),
			progressbar.OptionSetWidth(24),
			progressbar.OptionClearOnFinish(),
		)
	}
	p.bar.Describe(fmt.Sprintf("%d of %d sounds, %s", now.Files, now.AllFiles, leftWords(time.Since(p.begun), now)))
	_ = p.bar.Set64(min(now.Bytes, max(now.AllBytes-1, 0)))
}

func (p *auditProgress) end() {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.on = false
	if p.bar != nil {
		_ = p.bar.Finish()
	}
}

// leftWords says how long the rest will take at the rate so far.
func leftWords(elapsed time.Duration, now audit.Progress) string {
	if now.Bytes <= 0 || elapsed < time.Second {
		return "measuring"
	}
	left := time.Duration(float64(elapsed) * float64(now.AllBytes-now.Bytes) / float64(now.Bytes))
	return "about " + left.Round(time.Second).String() + " left"
}
