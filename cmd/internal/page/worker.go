package page

import (
	"context"
	"sync"
)

// job is a scene that is to be made ready and played. That takes longer than a
// socket may be left unread.
type job struct {
	name string
	play func(context.Context) error
	fail func(error) // told why it does not play
}

// worker does one job at a time, the latest that was asked for. What it has
// not finished when another one comes is given up.
type worker struct {
	stop func() // ends a scene that started although it had been given up

	mu     sync.Mutex
	next   *job
	now    string // the job that is being done
	cancel context.CancelFunc
	news   chan struct{}
}

func newWorker(stop func()) *worker {
	return &worker{stop: stop, news: make(chan struct{}, 1)}
}

// put asks for a job instead of all before.
func (w *worker) put(j job) {
	w.giveUp(&j)
	select {
	case w.news <- struct{}{}:
	default:
	}
}

// drop gives up whatever has not begun to sound.
func (w *worker) drop() { w.giveUp(nil) }

func (w *worker) giveUp(next *job) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.next = next
	if w.cancel != nil {
		w.cancel()
	}
}

// doing returns the name of the scene that is being made ready.
func (w *worker) doing() string {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.next != nil {
		return w.next.name
	}
	return w.now
}

func (w *worker) run(ctx context.Context) {
	for {
		select {
		case <-w.news:
		case <-ctx.Done():
			return
		}
		w.mu.Lock()
		j := w.next
		w.next = nil
		if j == nil {
			w.mu.Unlock()
			continue
		}
		mine, cancel := context.WithCancel(ctx)
		w.now, w.cancel = j.name, cancel
		w.mu.Unlock()

		err := j.play(mine)

		w.mu.Lock()
		given := mine.Err() != nil
		w.now, w.cancel = "", nil
		w.mu.Unlock()
		cancel()
		switch {
		case given && err == nil:
			w.stop()
		case !given && err != nil:
			j.fail(err)
		}
	}
}
