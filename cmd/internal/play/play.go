// Package play brings a stream of samples to the sound device.
//
// On Linux it speaks to PulseAudio or PipeWire over their socket in pure Go;
// with the build tag alsa, and on other systems, beep's speaker does the work.
// Neither notices every death of a device, and both may block for ever, so
// nothing here waits without a limit: a device that takes no samples for a
// second, or for three at its start, is given up, and whoever plays is told.
package play

import (
	"fmt"
	"sync"
	"sync/atomic"
	"time"

	"github.com/gopxl/beep/v2"
)

const (
	// BufferS is how far ahead of the ear samples are taken, seconds: little
	// enough for a hand on a lever. Where the device tells of underruns each
	// one adds BufferStepS, up to MostBufferS: a busy machine is heard late
	// rather than torn.
	BufferS     = 0.06
	BufferStepS = 0.02
	MostBufferS = 0.3
	// LeadInS is silence before the first sample, seconds. A device that wakes
	// swallows what comes first.
	LeadInS = 0.05
)

// limits are the patience with a device.
type limits struct {
	open  time.Duration // to connect and to start, each
	tick  time.Duration // of the watchdog
	ticks int           // without a sample until the device is given up
	first int           // the same until it moves at all: some devices wake slowly
	close time.Duration
}

var usual = limits{open: 3 * time.Second, tick: 100 * time.Millisecond, ticks: 10, first: 30, close: 500 * time.Millisecond}

// sink is a device below. Its methods may block for ever.
type sink interface {
	start() error // begins to call pull
	close()
	underruns() int64
}

// opener makes a sink. The sink fills its buffers by pull, which fills all of
// dst, and reports its own death by lost, any number of times.
type opener func(rateHz int, pull func(dst [][2]float64), lost func(error)) (sink, error)

// Device plays one stream on the system's sound device.
type Device struct {
	rateHz int
	limits limits
	sink   sink
	stream beep.Streamer // set before the sink starts
	lead   int           // frames of lead-in left; the sink's own goroutine
	taken  atomic.Int64
	lost   chan error
	once   sync.Once
	closed chan struct{}
}

// Open connects to the sound device for stereo at rateHz. Every error is one
// line and the environment's fault.
func Open(rateHz int) (*Device, error) { return open(rateHz, usual, openSystem) }

func open(rateHz int, l limits, o opener) (*Device, error) {
	d := &Device{
		rateHz: rateHz, limits: l, lead: int(LeadInS * float64(rateHz)),
		lost: make(chan error, 1), closed: make(chan struct{}),
	}
	type opened struct {
		s   sink
		err error
	}
	c := make(chan opened, 1)
	go func() {
		s, err := o(rateHz, d.pull, d.give)
		c <- opened{s, err}
	}()
	select {
	case r := <-c:
		if r.err != nil {
			return nil, fmt.Errorf("no sound device: %w", r.err)
		}
		d.sink = r.s
		return d, nil
	case <-time.After(l.open):
		go func() { // should it come after all
			if r := <-c; r.err == nil {
				r.s.close()
			}
		}()
		return nil, fmt.Errorf("no sound device: no answer within %g s", l.open.Seconds())
	}
}

// RateHz returns the rate that the stream has to have.
func (d *Device) RateHz() int { return d.rateHz }

// Play starts to play s, which always fills what it is given; what it leaves
// is silence. It returns when the device has begun, and may be called once.
func (d *Device) Play(s beep.Streamer) error {
	d.stream = s
	c := make(chan error, 1)
	go func() { c <- d.sink.start() }()
	select {
	case err := <-c:
		if err != nil {
			return fmt.Errorf("the sound device does not start: %w", err)
		}
	case err := <-d.lost:
		return err
	case <-time.After(d.limits.open):
		return fmt.Errorf("the sound device does not start: no answer within %g s", d.limits.open.Seconds())
	}
	go d.watch()
	return nil
}

// Lost gives one error when the device has died, and nothing after Close.
func (d *Device) Lost() <-chan error { return d.lost }

// Taken returns how many frames of the stream the device has taken.
func (d *Device) Taken() int64 { return d.taken.Load() }

// Underruns returns how often the device ran out of samples, as far as it
// tells: each is a gap that was heard.
func (d *Device) Underruns() int64 { return d.sink.underruns() }

// Close stops the sound at once. It leaves a device behind that does not
// answer.
func (d *Device) Close() {
	d.once.Do(func() {
		close(d.closed)
		done := make(chan struct{})
		go func() { d.sink.close(); close(done) }()
		select {
		case <-done:
		case <-time.After(d.limits.close):
		}
	})
}

// pull is called by the sink, by one goroutine at a time.
func (d *Device) pull(dst [][2]float64) {
	n := min(d.lead, len(dst))
	clear(dst[:n])
	d.lead -= n
	rest := dst[n:]
	for len(rest) > 0 {
		got, ok := d.stream.Stream(rest)
		if got == 0 || !ok {
			clear(rest[got:])
			break
		}
		rest = rest[got:]
	}
	d.taken.Add(int64(len(dst)))
}

// watch gives the device up when it takes nothing for some ticks. Ticks, not
// time, are counted: a process that was stopped for an hour and goes on has
// not been let down.
func (d *Device) watch() {
	t := time.NewTicker(d.limits.tick)
	defer t.Stop()
	last, idle, patience := d.taken.Load(), 0, d.limits.first
	for {
		select {
		case <-d.closed:
			return
		case <-t.C:
		}
		now := d.taken.Load()
		if now != last {
			last, idle, patience = now, 0, d.limits.ticks
			continue
		}
		if idle++; idle >= patience {
			d.give(fmt.Errorf("it has taken no sound for %g s", (time.Duration(patience) * d.limits.tick).Seconds()))
			return
		}
	}
}

// give tells of the first death.
func (d *Device) give(err error) {
	select {
	case <-d.closed:
		return
	default:
	}
	select {
	case d.lost <- fmt.Errorf("the sound device is lost: %w", err):
	default:
	}
}
