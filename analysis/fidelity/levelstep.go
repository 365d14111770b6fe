package fidelity

import "math"

// LevelStepResult compares how much the level jumps from cycle to cycle.
type LevelStepResult struct {
	RenderSDDB float64 // standard deviation of the level step, dB
	SourceSDDB float64
	ExcessDB   float64 // render − source
}

// LevelStep takes the RMS level in dB of every whole engine cycle and the
// standard deviation of the differences between neighbours, for the render
// and for the source. Cycles are cut at the crank angle where the take is
// quietest on average, so that no pulse is halved. NaN with fewer than eight
// cycles. Engine reference section 4, row iii-b.
func LevelStep(render, source *Take) LevelStepResult {
	r := LevelStepResult{RenderSDDB: levelStepSD(render), SourceSDDB: levelStepSD(source)}
	r.ExcessDB = r.RenderSDDB - r.SourceSDDB
	return r
}

func levelStepSD(t *Take) float64 {
	const parts = 16
	if !t.usable(8) {
		return math.NaN()
	}
	sq := make([]float64, len(t.X))
	for i, v := range t.X {
		sq[i] = v * v
	}
	in := newIntegral(sq)
	at := t.places(parts, 0)
	var energy [parts]float64
	for j := 0; j+1 < len(at); j++ {
		energy[j%parts] += in.at(at[j+1]) - in.at(at[j])
	}
	quiet := 0
	for i, e := range energy {
		if e < energy[quiet] {
			quiet = i
		}
	}
	at = t.places(1, (float64(quiet)+0.5)/parts)
	var sum, sum2 float64
	n, before := 0, math.NaN()
	for j := 0; j+1 < len(at); j++ {
		level := 10 * math.Log10((in.at(at[j+1])-in.at(at[j]))/(at[j+1]-at[j]))
		if d := level - before; !math.IsNaN(d) && !math.IsInf(d, 0) {
			sum, sum2, n = sum+d, sum2+d*d, n+1
		}
		before = level
	}
	if n < 7 {
		return math.NaN()
	}
	mean := sum / float64(n)
	return math.Sqrt(math.Max(0, sum2/float64(n)-mean*mean))
}
