package engine

import (
	"math"
	"runtime"
	"time"

	"tachbench/samples"
	"tachbench/samples/bank"
	"tachbench/samples/crank"
	"tachbench/synth/curve"
	"tachbench/synth/note"
)

// Targets of speed on one core: the product's own.
const (
	TargetXRealTime    = 500.0 // note, 48 kHz mono
	TargetFirstBlockMS = 20.0  // from a ready bank to its first block
	TargetPrepareS     = 3.0   // for 60 s of recordings
	TargetPrepareMB    = 200.0
)

// Speed is how fast the note is made, on one core.
type Speed struct {
	XRealTime    float64 // seconds of note for each second of processor time, mono or stereo as the bank is
	FirstBlockMS float64 // a new note's first 480 frames
	PrepareS     float64 // processor time, scaled to 60 s of recordings; NaN with less than minRecordedS
	PrepareMB    float64 // largest heap while preparing, as it was, not scaled
	RecordedS    float64 // seconds of recordings behind PrepareS
}

// speedRuns is how often each timing is repeated; the best counts, because
// what else the machine does can only slow a run down.
const speedRuns = 12

// minRecordedS is the least material whose preparing is worth scaling up.
const minRecordedS = 20

// MeasureSpeed times the note on an 8 s sweep over the bank's range, and the
// preparing of recs again on one core.
func MeasureSpeed(b *bank.Bank, layout crank.Layout, recs []Recording) (Speed, error) {
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(1))
	var s Speed
	lo, hi := b.RangeRPM()
	block := samples.NewSound(b.RateHz, b.Channels, 480)
	best, first := math.Inf(1), math.Inf(1)
	for range speedRuns {
		c, err := curve.Sweep(lo, hi, b.Layers[len(b.Layers)-1].Load, 8)
		if err != nil {
			return s, err
		}
		t0 := time.Now()
		n := note.New(b, note.Options{Source: c, Frames: int64(8 * b.RateHz)})
		n.Fill(block.Chans)
		first = math.Min(first, time.Since(t0).Seconds())
		t1 := busy()
		for n.Fill(block.Chans) > 0 {
		}
		best = math.Min(best, (busy() - t1).Seconds())
	}
	s.XRealTime, s.FirstBlockMS = (8-0.01)/best, 1000*first

	for _, r := range recs {
		s.RecordedS += r.Sound.DurationS()
	}
	stop, peak := watchHeap()
	t0 := busy()
	_, err := Prepare(layout, b.RateHz, recs)
	s.PrepareS = (busy() - t0).Seconds() * 60 / s.RecordedS
	close(stop)
	s.PrepareMB = <-peak
	if s.RecordedS < minRecordedS {
		s.PrepareS = math.NaN()
	}
	return s, err
}

// watchHeap samples the heap in use until stop is closed.
func watchHeap() (stop chan struct{}, peakMB chan float64) {
	stop, peakMB = make(chan struct{}), make(chan float64, 1)
	runtime.GC()
	go func() {
		var m runtime.MemStats
		top := 0.0
		for {
			runtime.ReadMemStats(&m)
			top = math.Max(top, float64(m.HeapInuse)/1e6)
			select {
			case <-stop:
				peakMB <- top
				return
			case <-time.After(10 * time.Millisecond):
			}
		}
	}()
	return stop, peakMB
}
