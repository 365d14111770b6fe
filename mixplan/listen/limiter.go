package listen

import (
	"math"

	"tachbench/samples"
)

// Times of the limiter (common practice, no source). The attack is also its
// delay, less a few frames.
const (
	limitAttackS  = 0.0015
	limitReleaseS = 0.120
	// limitMarginDB is how far under the ceiling it aims: while the gain moves,
	// the peak between two frames is not quite the gain times the peak.
	limitMarginDB = 0.08
)

// limiter holds two channels under a true peak, both by the same gain. It
// looks ahead: the gain is down before the peak is there.
//
// With r the gain that a peak allows, the gain is the mean over the attack of
// the smallest r in a window that reaches reach frames beyond both ends of
// everything the mean covers, so that it stands still wherever the fourfold
// interpolation of a peak looks.
type limiter struct {
	limit   float64 // amplitude
	release float64
	seen    [2]gaps
	peaks   [chunkFrames]float64

	box, window, delay int
	lows               []low // rising, the window's candidates for the smallest
	head, count        int
	at                 int64 // frames so far
	held               float64
	mean               []float64 // ring of the last box values of held
	sum                float64
	flat               int // for how many frames nothing was taken
	line               [2][]float64
	place              int
	least              float64 // smallest gain since it was asked for last
}

type low struct {
	at   int64
	gain float64
}

func newLimiter(rateHz int, ceilingDB float64) *limiter {
	l := &limiter{limit: samples.DBAmplitude(ceilingDB - limitMarginDB), held: 1, least: 1}
	l.box = max(8, int(math.Round(limitAttackS*float64(rateHz))))
	l.delay = l.box + 5 + reach
	l.window = l.box + 2*reach + 1
	l.release = 1 - math.Exp(-1/(limitReleaseS*float64(rateHz)))
	l.lows = make([]low, l.window+1)
	l.mean = make([]float64, l.box)
	for i := range l.mean {
		l.mean[i] = 1
	}
	l.sum = float64(l.box)
	l.flat = l.window + l.box
	for c := range l.line {
		l.line[c] = make([]float64, l.delay)
	}
	return l
}

// process limits up to chunkFrames frames in place, delay frames late. What is
// not usable as a sample is silence.
func (l *limiter) process(left, right []float64) {
	peaks := l.peaks[:len(left)]
	clear(peaks)
	for c, x := range [2][]float64{left, right} {
		samples.Scrub(x, x)
		l.seen[c].raise(peaks, x, l.limit)
	}
	for i, p := range peaks {
		g := 1.0
		if p > l.limit {
			l.flat = 0
			g = l.gain(l.limit / p)
		} else if l.flat >= l.window+l.box {
			l.at++
		} else {
			g = l.gain(1)
		}
		l.least = min(l.least, g)
		a, b := l.line[0][l.place], l.line[1][l.place]
		l.line[0][l.place], l.line[1][l.place] = left[i], right[i]
		if l.place++; l.place == l.delay {
			l.place = 0
		}
		left[i], right[i] = g*a, g*b
	}
}

// gain moves on by one frame whose peak allows r.
func (l *limiter) gain(r float64) float64 {
	size := len(l.lows)
	for l.count > 0 && l.lows[(l.head+l.count-1)%size].gain >= r {
		l.count--
	}
	l.lows[(l.head+l.count)%size] = low{l.at, r}
	l.count++
	for l.lows[l.head].at <= l.at-int64(l.window) {
		l.head = (l.head + 1) % size
		l.count--
	}
	smallest := l.lows[l.head].gain
	if smallest < l.held {
		l.held = smallest
	} else if l.held += (smallest - l.held) * l.release; l.held > 1-1e-6 {
		l.held = 1
	}
	slot := &l.mean[l.at%int64(l.box)]
	l.sum += l.held - *slot
	*slot = l.held
	l.at++
	if l.held < 1 {
		l.flat = 0
	} else if l.flat++; l.flat >= l.window+l.box {
		// All of the window is 1: rounding must not add up over the hours, and
		// nothing of it is needed any more.
		l.sum, l.count, l.head = float64(l.box), 0, 0
	}
	return min(1, l.sum/float64(l.box))
}

// takenDB returns the most it took since it was asked last, dB, 0 or more.
func (l *limiter) takenDB() float64 {
	g := l.least
	l.least = 1
	return max(0, -samples.AmplitudeDB(g))
}
