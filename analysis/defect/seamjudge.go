package defect

import (
	"fmt"
	"math"

	"tachbench/samples"
)

// seamFindings judges all loops once the sound has ended.
func (s *Scan) seamFindings() []Finding {
	var out []Finding
	for i, l := range s.info.Loops {
		name := loopName(i, len(s.info.Loops))
		switch {
		case l.Start < 0 || l.End <= l.Start:
			out = append(out, found("loop-points", wholeFile, allChannels, noReading, "%s ends at frame %d, not after its start at frame %d.", name, l.End, l.Start))
		case l.End > s.written:
			out = append(out, found("loop-points", wholeFile, allChannels,
				reading{value: float64(l.End), limit: float64(s.written), unit: "frames"},
				"%s reaches to frame %d, the sound has %d.", name, l.End, s.written))
		}
	}
	for _, m := range s.seams {
		name, end := "The file, played as a loop,", m.end
		tails := m.tail
		if m.end < 0 {
			end = s.written
			for int64(4*m.block) > end && m.block > 0 {
				m.block /= 2
			}
			if m.block < seamSmallest {
				continue
			}
			tails = s.tail.newest(m.block)
		} else {
			if end > s.written {
				continue
			}
			name = loopName(m.index, len(s.info.Loops))
		}
		out = append(out, s.judgeSeam(m, name, tails, s.seconds(end-1))...)
	}
	return out
}

func loopName(i, of int) string {
	if of == 1 {
		return "The loop"
	}
	return fmt.Sprintf("Loop %d", i+1)
}

func (s *Scan) judgeSeam(m *seam, name string, tails [][]float64, atS float64) []Finding {
	var out, clicks []Finding
	n := m.block
	for c := range m.head {
		if f, bad := s.seamClick(m.head[c][:n], tails[c][:n], c, name, atS); bad {
			clicks = append(clicks, f)
		}
	}
	out = append(out, mergeChannels(clicks, len(m.head))...)
	head, end := make([]float64, n), make([]float64, n)
	mix(head, m.head, 0)
	mix(end, tails, 0)
	if samples.AmplitudeDB(max(samples.RMS(head), samples.RMS(end))) < seamSilentDB {
		return out
	}
	cut := m.cut
	if len(cut.mono) != n { // a short file: blocks of this length were not followed
		cut = newBlockCutter(n, s.info)
		cut.levelStep, cut.colourStep = shortSteps(cut, head, end)
	}
	a, b := cut.measure(end), cut.measure(head)
	limit := s.opt.Limit("seam_level_db")
	if step := math.Abs(b.level - a.level); step > limit && step > seamInside*cut.levelStep {
		out = append(out, found("loop-seam-level", atS, allChannels, reading{value: step, limit: limit, unit: "dB"},
			"%s steps by %s dB where its end meets its start; inside it never steps by more than %.1f dB.", name, level(step, decimalsApart(step, limit, 1)), cut.levelStep))
	}
	limit = s.opt.Limit("seam_colour_db")
	if step := distance(a, b); step > limit && step > seamInside*cut.colourStep {
		out = append(out, found("loop-seam-colour", atS, allChannels, reading{value: step, limit: limit, unit: "dB"},
			"%s changes its octave levels by %s dB on average where its end meets its start; inside it never changes by more than %.1f dB.", name, level(step, decimalsApart(step, limit, 1)), cut.colourStep))
	}
	limit = s.opt.Limit("seam_cycle_share")
	if off, cycle, ok := cyclesOff(end, head, int(0.002*s.rateHz)); ok && off > limit {
		out = append(out, found("loop-not-whole-cycles", atS, allChannels, reading{value: off, limit: limit, unit: "cycles"},
			"%s is %s of a cycle of %s off where its end meets its start.", name, share(off), seconds(float64(cycle)/s.rateHz)))
	}
	return out
}

// shortSteps gives the inner steps of a loop so short that only its two ends
// are at hand: from half to half of each.
func shortSteps(whole *blockCutter, head, end []float64) (level, col float64) {
	half := len(head) / 2
	if half < seamSmallest/2 {
		return 0, 0
	}
	for _, x := range [][]float64{head, end} {
		level = max(level, math.Abs(samples.AmplitudeDB(samples.RMS(x[:half]))-samples.AmplitudeDB(samples.RMS(x[half:]))))
	}
	// Colour of half blocks is too coarse to compare; a wide allowance stands in.
	return level, whole.colourStep
}

// seamClick compares the second difference across the seam with all others
// near it.
func (s *Scan) seamClick(head, end []float64, channel int, name string, atS float64) (Finding, bool) {
	n := len(end)
	d2 := func(a, b, c float64) float64 { return math.Abs(a - 2*b + c) }
	at := max(d2(end[n-2], end[n-1], head[0]), d2(end[n-1], head[0], head[1]))
	inside := 0.0
	for i := 2; i < n; i++ {
		inside = max(inside, d2(end[i-2], end[i-1], end[i]), d2(head[i-2], head[i-1], head[i]))
	}
	limit := s.opt.Limit("seam_click_ratio")
	if at < seamClickMin || at <= limit*inside {
		return Finding{}, false
	}
	ratio := at / max(inside, seamClickMin/100)
	return found("loop-seam-click", atS, channel, reading{value: ratio, limit: limit},
		"%s jumps where its end meets its start, %.0f times as hard as anywhere near.", name, ratio), true
}

// cyclesOff returns by what share of a cycle (0 to 0.5) the start of a loop is
// off from continuing its end, and the cycle length in samples. It is not ok
// for sound without a clear cycle.
func cyclesOff(end, head []float64, shortest int) (off float64, cycle int, ok bool) {
	cycle, inside := period(end, shortest)
	if cycle == 0 || inside < seamPeriodic {
		return 0, 0, false
	}
	last := end[len(end)-cycle:]
	at0, best, bestLag := correlation(last, head[:cycle]), math.Inf(-1), 0
	for lag := 0; lag < cycle; lag++ {
		if c := correlation(last, head[lag:lag+cycle]); c > best {
			best, bestLag = c, lag
		}
	}
	if best < seamMatch*inside || best-at0 < seamGain {
		return 0, cycle, false
	}
	return float64(min(bestLag, cycle-bestLag)) / float64(cycle), cycle, true
}

// period returns the shortest lag from shortest to half of x at which x repeats
// itself best, and its correlation there.
func period(x []float64, shortest int) (lag int, corr float64) {
	longest := len(x) / 2
	if shortest < 2 || longest <= shortest {
		return 0, 0
	}
	all := make([]float64, longest+1)
	for l := shortest; l <= longest; l++ {
		all[l] = correlation(x[len(x)-longest:], x[len(x)-longest-l:len(x)-l])
		corr = max(corr, all[l])
	}
	for l := shortest + 1; l < longest; l++ {
		if all[l] >= corr-0.03 && all[l] >= all[l-1] && all[l] >= all[l+1] {
			return l, all[l]
		}
	}
	return 0, 0
}

// correlation is Σab/√(Σaa·Σbb), 0 for silence.
func correlation(a, b []float64) float64 {
	e := dotProduct(a, a) * dotProduct(b, b)
	if e <= 0 {
		return 0
	}
	return dotProduct(a, b) / math.Sqrt(e)
}
