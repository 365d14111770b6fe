package defect

import (
	"math"

	"tachbench/samples"
)

// hum looks for mains lines in the quietest parts of speech. The folded sound
// is brought down to about 1 kHz; windows of 0.2 s (10 periods of 50 Hz, 12 of
// 60 Hz) are weighed at the mains harmonics and half-way between them. Only
// pauses are used, and a line must stand in nearly all of them at one level:
// that is what hum does and the pitch of a voice does not.
type hum struct {
	factor  int
	low     []float64 // low-pass
	in      []float64 // input waiting for the low-pass
	ring    []float64 // newest low-rate samples, oldest first after unroll
	at      int
	have    int
	since   int // low-rate samples since the last window
	window  int
	hop     int
	chunks  int // chunks a window covers
	rateHz  float64
	scratch []float64
	lines   []probe // all probes: lines and the places between them
	kept    [humWindows]humWindow
	n       int
}

const (
	humRateHz    = 1000
	humWindowS   = 0.2
	humHarmonics = 5
	humWindows   = 24
	humFamilies  = 2
	humProbes    = humFamilies * humHarmonics * 3
	humPauseDB   = 12.0 // a pause is so far under the active level
	humNearDB    = 8.0  // and not further than that over the quietest pause
	humSpanS     = 0.5  // first to last pause, at least
	humAloneS    = 1.0  // the same if only one line stands
	humPresent   = 0.8  // share of pauses in which a line must stand
	humSteadyDB  = 3.0  // spread of its level over the pauses
	humLowestDB  = -80.0
	humLinesNeed = 2
	humDriftDB   = 3.0 // a pause whose halves differ more is none
	humAloneDB   = 8.0 // a fundamental alone must stand so much further out
)

var humMainsHz = [humFamilies]float64{50, 60}

// probe is one frequency with its windowed cosine and sine.
type probe struct{ cos, sin []float64 }

type humWindow struct {
	level float64            // loudest chunk in it, dB
	at    int                // low-rate sample after it
	power [humProbes]float64 // mean power of a sine that gives this reading
}

func newHum(rateHz float64) *hum {
	h := &hum{factor: max(int(rateHz)/humRateHz, 1)}
	h.rateHz = rateHz / float64(h.factor)
	h.window = int(humWindowS * h.rateHz)
	h.hop = h.window / 4
	h.ring = make([]float64, h.window)
	h.scratch = make([]float64, h.window)
	h.low = lowPass(8*h.factor, 0.45/float64(h.factor))
	h.in = make([]float64, 0, len(h.low)+int(rateHz)/1000*ticksPerChunk+h.factor)
	h.chunks = min(int(math.Ceil(humWindowS*1000/ticksPerChunk))+1, levelRing)
	for _, mains := range humMainsHz {
		for k := 1; k <= humHarmonics; k++ {
			f := mains * float64(k)
			h.lines = append(h.lines, h.probe(f), h.probe(f-mains/2), h.probe(f+mains/2))
		}
	}
	return h
}

// lowPass returns a Hann-windowed sinc of n taps with its -6 dB point at cutoff
// (in cycles a sample) and unit gain at 0 Hz.
func lowPass(n int, cutoff float64) []float64 {
	h := make([]float64, n)
	sum := 0.0
	for i := range h {
		t := float64(i) - float64(n-1)/2
		v := 2 * cutoff
		if t != 0 {
			v = math.Sin(2*math.Pi*cutoff*t) / (math.Pi * t)
		}
		h[i] = v * (0.5 - 0.5*math.Cos(2*math.Pi*(float64(i)+0.5)/float64(n)))
		sum += h[i]
	}
	for i := range h {
		h[i] /= sum
	}
	return h
}

func (h *hum) probe(hz float64) probe {
	p := probe{cos: make([]float64, h.window), sin: make([]float64, h.window)}
	for i := range h.window {
		// Scaled so that cos²+sin² sums give the mean power of a sine.
		w := (0.5 - 0.5*math.Cos(2*math.Pi*(float64(i)+0.5)/float64(h.window))) * 2 * math.Sqrt2 / float64(h.window)
		s, c := math.Sincos(2 * math.Pi * hz / h.rateHz * float64(i))
		p.cos[i], p.sin[i] = w*c, w*s
	}
	return p
}

// process takes the folded chunk; its level is the newest of l.
func (h *hum) process(mono []float64, l *levels) {
	h.in = append(h.in, mono...)
	i := 0
	for ; i+len(h.low) <= len(h.in); i += h.factor {
		h.ring[h.at] = dotProduct(h.low, h.in[i:i+len(h.low)])
		if h.at++; h.at == h.window {
			h.at = 0
		}
		h.have++
		h.since++
		if h.have >= h.window && h.since >= h.hop && l.n >= h.chunks {
			h.since = 0
			h.judge(l)
		}
	}
	h.in = h.in[:copy(h.in, h.in[i:])]
}

// judge keeps the newest window if it is among the quietest.
func (h *hum) judge(l *levels) {
	level := math.Inf(-1)
	for k := range h.chunks {
		level = max(level, l.last(k))
	}
	slot := h.n
	if h.n == humWindows {
		slot = 0
		for i := range h.kept {
			if h.kept[i].level > h.kept[slot].level {
				slot = i
			}
		}
		if level >= h.kept[slot].level {
			return
		}
	}
	if level < zeroDB {
		return // a gate closed; nothing can be heard here
	}
	n := copy(h.scratch, h.ring[h.at:])
	copy(h.scratch[n:], h.ring[:h.at])
	early, late := h.scratch[:h.window/2], h.scratch[h.window-h.window/2:]
	if math.Abs(samples.PowerDB(dotProduct(early, early)/dotProduct(late, late))) > humDriftDB {
		return // a word that fades away
	}
	w := &h.kept[slot]
	w.level, w.at = level, h.have
	for i := range h.lines {
		c, s := dotProduct(h.scratch, h.lines[i].cos), dotProduct(h.scratch, h.lines[i].sin)
		w.power[i] = c*c + s*s
	}
	if slot == h.n {
		h.n++
	}
}

func (h *hum) findings(active float64, opt Options) []Finding {
	pauses, spanS := h.pauses(active)
	hopS := float64(h.hop) / h.rateHz
	if spanS < humSpanS || float64(len(pauses)-1)*hopS+humWindowS < opt.Limit("pause_s") {
		return nil
	}
	limit, line := opt.Limit("hum_below_speech_db"), opt.Limit("hum_line_db")
	best, bestDB, bestLines := -1, math.Inf(-1), 0
	for f := range humFamilies {
		lines, total, alone := 0, 0.0, false
		for k := range humHarmonics {
			i := (f*humHarmonics + k) * 3
			power, above, ok := steadyLine(pauses, i, line)
			if !ok {
				continue
			}
			lines++
			total += power
			alone = alone || k < 2 && above >= line+humAloneDB && spanS >= humAloneS
		}
		db := samples.PowerDB(total)
		if (lines >= humLinesNeed || alone) && db > bestDB {
			best, bestDB, bestLines = f, db, lines
		}
	}
	under := active - bestDB
	if best < 0 || bestDB < humLowestDB || under > limit {
		return nil
	}
	return []Finding{found("hum", wholeFile, allChannels, reading{value: under, limit: limit, unit: "dB"},
		"%.0f Hz hum with %s stands in the pauses, %.0f dB under the speech.",
		humMainsHz[best], plural(int64(bestLines), "line", "lines"), under)}
}

// pauses returns the kept windows in which nobody speaks, and the time from the
// first to the end of the last.
func (h *hum) pauses(active float64) (ws []humWindow, spanS float64) {
	quietest := math.Inf(1)
	for _, w := range h.kept[:h.n] {
		quietest = min(quietest, w.level)
	}
	first, last := math.MaxInt, 0
	for _, w := range h.kept[:h.n] {
		if w.level <= min(active-humPauseDB, quietest+humNearDB) {
			ws = append(ws, w)
			first, last = min(first, w.at), max(last, w.at)
		}
	}
	if len(ws) == 0 {
		return nil, 0
	}
	return ws, float64(last-first)/h.rateHz + humWindowS
}

// steadyLine judges the line at probe i against the places beside it: its mean
// power, how far it stands out in dB, and whether it does so in nearly all
// pauses at one level.
func steadyLine(pauses []humWindow, i int, need float64) (power, above float64, ok bool) {
	var beside, db, db2 float64
	stands := 0
	n := float64(len(pauses))
	for _, w := range pauses {
		p, q := w.power[i], max(w.power[i+1], w.power[i+2])
		power += p / n
		beside += (w.power[i+1] + w.power[i+2]) / 2 / n
		if p > 2*q {
			stands++
		}
		d := samples.PowerDB(max(p, 1e-20))
		db += d / n
		db2 += d * d / n
	}
	above = samples.PowerDB(power) - samples.PowerDB(max(beside, 1e-20))
	spread := math.Sqrt(max(db2-db*db, 0))
	return power, above, above >= need && float64(stands) >= humPresent*n && spread <= humSteadyDB
}
