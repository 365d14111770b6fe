package play

import (
	"errors"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/gopxl/beep/v2"
)

// quick is the usual patience, fifty times shorter.
var quick = limits{open: 60 * time.Millisecond, tick: 2 * time.Millisecond, ticks: 10, first: 30, close: 20 * time.Millisecond}

// fake is a device that takes blocks until it is told to stop.
type fake struct {
	pull       func([][2]float64)
	lost       func(error)
	startErr   error
	hangStart  bool
	hangClose  bool
	deadAfter  int // blocks until it takes no more, 0 never
	killAfter  int // blocks until it says that it is dead
	heard      [][2]float64
	stop, done chan struct{}
	closed     atomic.Bool
}

func (f *fake) open(rateHz int, pull func([][2]float64), lost func(error)) (sink, error) {
	f.pull, f.lost = pull, lost
	f.stop, f.done = make(chan struct{}), make(chan struct{})
	return f, nil
}

func (f *fake) start() error {
	if f.hangStart {
		select {}
	}
	if f.startErr != nil {
		return f.startErr
	}
	go func() {
		defer close(f.done)
		for n := 1; ; n++ {
			block := make([][2]float64, 37)
			f.pull(block)
			f.heard = append(f.heard, block...)
			if n == f.killAfter {
				f.lost(errors.New("the sound server is gone"))
			}
			if n == f.deadAfter {
				<-f.stop
				return
			}
			select {
			case <-f.stop:
				return
			case <-time.After(time.Millisecond):
			}
		}
	}()
	return nil
}

func (f *fake) underruns() int64 { return 0 }

func (f *fake) close() {
	f.closed.Store(true)
	if f.hangClose {
		select {}
	}
	close(f.stop)
	<-f.done
}

// count is 1, 2, 3 ... left and the negative right.
func count() beep.Streamer {
	n := 0.0
	return beep.StreamerFunc(func(dst [][2]float64) (int, bool) {
		for i := range dst {
			n++
			dst[i] = [2]float64{n, -n}
		}
		return len(dst), true
	})
}

func within(t *testing.T, most time.Duration, what string, f func()) {
	t.Helper()
	done := make(chan struct{})
	go func() { defer close(done); f() }()
	select {
	case <-done:
	case <-time.After(most):
		t.Fatalf("%s: not done in %v", what, most)
	}
}

func TestPlaysEverySampleAfterTheLeadIn(t *testing.T) {
	f := &fake{}
	d, err := open(8000, quick, f.open)
	if err != nil {
		t.Fatal(err)
	}
	if err := d.Play(count()); err != nil {
		t.Fatal(err)
	}
	for d.Taken() < 2000 {
		time.Sleep(time.Millisecond)
	}
	d.Close()
	const lead = 400 // 50 ms
	for i, s := range f.heard {
		want := float64(max(0, i+1-lead))
		if s != [2]float64{want, -want} {
			t.Fatalf("frame %d is %v, not %g", i, s, want)
		}
	}
	if len(f.heard) < 2000 {
		t.Errorf("%d frames", len(f.heard))
	}
	select {
	case err := <-d.Lost():
		t.Error("lost after Close:", err)
	case <-time.After(30 * time.Millisecond):
	}
	d.Close() // a second time does nothing
}

func TestStreamThatStopsIsSilence(t *testing.T) {
	f := &fake{}
	d, _ := open(8000, quick, f.open)
	if err := d.Play(beep.Take(10, count())); err != nil {
		t.Fatal(err)
	}
	for d.Taken() < 1000 {
		time.Sleep(time.Millisecond)
	}
	d.Close()
	for i, s := range f.heard[410:] {
		if s != [2]float64{} {
			t.Fatalf("frame %d after the end is %v", i, s)
		}
	}
}

func TestDeviceThatTakesNothingMore(t *testing.T) {
	for blocks, want := range map[int]string{1: "", 30: "0.02 s"} {
		f := &fake{deadAfter: blocks}
		d, _ := open(8000, quick, f.open)
		if err := d.Play(count()); err != nil {
			t.Fatal(err)
		}
		within(t, 2*time.Second, "watchdog", func() {
			err := <-d.Lost()
			if !strings.HasPrefix(err.Error(), "the sound device is lost: it has taken no sound for ") || !strings.HasSuffix(err.Error(), want) {
				t.Error(err)
			}
		})
		within(t, 2*time.Second, "Close", d.Close)
	}
}

func TestUsualWatchdogIsASecond(t *testing.T) {
	if got := time.Duration(usual.ticks) * usual.tick; got != time.Second {
		t.Errorf("%v", got)
	}
	if got := time.Duration(usual.first) * usual.tick; got > usual.open {
		t.Errorf("%v for the first sample", got)
	}
}

func TestServerThatDies(t *testing.T) {
	f := &fake{killAfter: 5}
	d, _ := open(8000, quick, f.open)
	if err := d.Play(count()); err != nil {
		t.Fatal(err)
	}
	within(t, 2*time.Second, "lost", func() {
		if err := <-d.Lost(); err.Error() != "the sound device is lost: the sound server is gone" {
			t.Error(err)
		}
	})
	d.Close()
}

func TestDeviceThatBlocks(t *testing.T) {
	t.Run("open", func(t *testing.T) {
		late := make(chan struct{})
		f := &fake{hangClose: false}
		within(t, 2*time.Second, "Open", func() {
			_, err := open(8000, quick, func(r int, pull func([][2]float64), lost func(error)) (sink, error) {
				<-late
				f.done = make(chan struct{})
				f.stop = make(chan struct{})
				close(f.done)
				return f, nil
			})
			if err == nil || err.Error() != "no sound device: no answer within 0.06 s" {
				t.Error(err)
			}
		})
		close(late)
		for deadline := time.Now().Add(2 * time.Second); !f.closed.Load(); time.Sleep(time.Millisecond) {
			if time.Now().After(deadline) {
				t.Fatal("a device that comes late is left open")
			}
		}
	})
	t.Run("start and close", func(t *testing.T) {
		f := &fake{hangStart: true, hangClose: true}
		d, _ := open(8000, quick, f.open)
		within(t, 2*time.Second, "Play", func() {
			if err := d.Play(count()); err == nil || err.Error() != "the sound device does not start: no answer within 0.06 s" {
				t.Error(err)
			}
		})
		within(t, 2*time.Second, "Close", d.Close)
	})
}

func TestDeviceThatRefuses(t *testing.T) {
	_, err := open(8000, quick, func(int, func([][2]float64), func(error)) (sink, error) {
		return nil, errors.New("no server")
	})
	if err == nil || err.Error() != "no sound device: no server" {
		t.Error(err)
	}
	f := &fake{startErr: errors.New("busy")}
	d, _ := open(8000, quick, f.open)
	if err := d.Play(count()); err == nil || err.Error() != "the sound device does not start: busy" {
		t.Error(err)
	}
}
