package listen

import (
	"math"

	"tachbench/analysis/loudness"
	"tachbench/samples"
)

// ticksPerSecond is how often meters are read.
const ticksPerSecond = 10

// loudTurn is how many ticks pass before one of two loudness meters begins
// anew, so that neither has to remember a whole day.
const loudTurn = 4 * ticksPerSecond

// loud is loudness now: the last 0.4 s and the last 3 s.
type loud struct {
	rateHz    int
	meters    [2]*loudness.Meter
	elder     int
	ticks     int
	momentary float64
	shortTerm float64
}

func newLoud(rateHz int) (*loud, error) {
	l := &loud{rateHz: rateHz, momentary: math.NaN(), shortTerm: math.NaN()}
	for i := range l.meters {
		m, err := loudness.New(rateHz, 2, 0)
		if err != nil {
			return nil, err
		}
		l.meters[i] = m
	}
	return l, nil
}

func (l *loud) write(block [][]float64) {
	for _, m := range l.meters {
		m.Write(block)
	}
}

// tick reads the meter that has listened longer.
func (l *loud) tick() {
	last := func(x []float64) float64 {
		if len(x) == 0 {
			return math.NaN()
		}
		return x[len(x)-1]
	}
	m := l.meters[l.elder]
	l.momentary, l.shortTerm = last(m.MomentaryLUFS()), last(m.ShortTermLUFS())
	if l.ticks++; l.ticks%loudTurn == 0 {
		fresh, err := loudness.New(l.rateHz, 2, 0)
		if err != nil {
			panic("listen: " + err.Error()) // it worked before
		}
		l.meters[l.elder] = fresh
		l.elder = 1 - l.elder
	}
}

// top is a true peak that falls back after one to two ticks.
type top struct {
	seen      [2]gaps
	peaks     [chunkFrames]float64
	now, last float64
}

func (t *top) write(left, right []float64) {
	peaks := t.peaks[:len(left)]
	clear(peaks)
	t.seen[0].raise(peaks, left, t.now)
	t.seen[1].raise(peaks, right, t.now)
	for _, p := range peaks {
		t.now = max(t.now, p)
	}
}

func (t *top) tick() { t.last, t.now = t.now, 0 }

func (t *top) value() float64 { return max(t.now, t.last) }

func (t *top) db() float64 { return samples.AmplitudeDB(t.value()) }

// clips counts runs of samples over full scale.
type clips struct {
	over [2]bool
	runs int
}

func (k *clips) write(c int, x []float64) {
	for _, v := range x {
		over := v > 1 || v < -1
		if over && !k.over[c] {
			k.runs++
		}
		k.over[c] = over
	}
}
