package cli

import (
	"context"

	"github.com/schollz/progressbar/v3"
)

// attend does work and waits for it or for the end of ctx, whichever comes
// first. Work that is interrupted is left behind: the process is about to
// end, and files are written whole or not at all. What work has set may be
// read only when attend did not return ctx's error.
func attend(ctx context.Context, work func() error) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	done := make(chan error, 1)
	go func() { done <- work() }()
	select {
	case err := <-done:
		return err
	case <-ctx.Done():
		return ctx.Err()
	}
}

// progress counts files on standard error while a person watches.
type progress struct{ bar *progressbar.ProgressBar }

func newProgress(s Streams, n int, quiet bool) progress {
	if quiet || n < 2 || !s.watched() {
		return progress{}
	}
	return progress{progressbar.NewOptions(n,
		progressbar.OptionSetWriter(s.Err),
		progressbar.OptionSetDescription("recordings"),
		progressbar.OptionShowCount(),
		progressbar.OptionSetPredictTime(false),
		progressbar.OptionSetWidth(30),
		progressbar.OptionClearOnFinish(),
	)}
}

// step and end ignore errors: a progress bar that cannot be drawn is no
// reason to stop.
func (p progress) step() {
	if p.bar != nil {
		_ = p.bar.Add(1)
	}
}

func (p progress) end() {
	if p.bar != nil {
		_ = p.bar.Finish()
	}
}
