package speech

import (
	"math"

	"tachbench/samples"
)

// Constants of the noise floor: our own rule, no source.
const (
	frameS       = 0.02
	digitalDB    = -120 // under it a frame is digital silence
	loudestDB    = 250
	perDB        = 4  // classes of the histogram
	fewestFrames = 10 // 0.2 s of pause
)

// pauses is a histogram of the mean squares of 20 ms frames.
type pauses struct {
	frame, fill int
	sum2        float64
	frames      [(loudestDB - digitalDB) * perDB]int64
	power       [(loudestDB - digitalDB) * perDB]float64 // sum of the mean squares in a class
	digital     int64
}

func newPauses(rateHz int) pauses { return pauses{frame: int(math.Round(float64(rateHz) * frameS))} }

func (p *pauses) add(v float64) {
	p.sum2 += v * v
	if p.fill++; p.fill < p.frame {
		return
	}
	mean := p.sum2 / float64(p.frame)
	p.fill, p.sum2 = 0, 0
	class := class(samples.PowerDB(mean))
	if class < 0 {
		p.digital++
		return
	}
	p.frames[class]++
	p.power[class] += mean
}

// class is the place of a level in the histogram, negative for digital silence.
func class(db float64) int {
	if db < digitalDB {
		return -1
	}
	return min((loudestDB-digitalDB)*perDB-1, int((db-digitalDB)*perDB))
}

// floor returns the power mean of the quieter half of the frames under limitDB.
func (p *pauses) floor(limitDB float64) (float64, string) {
	end := max(0, class(limitDB))
	var n int64
	for _, k := range p.frames[:end] {
		n += k
	}
	if n < fewestFrames {
		if n+p.digital >= fewestFrames {
			return math.NaN(), ReasonDigitalSilence
		}
		return math.NaN(), ReasonNoPauses
	}
	half := float64(n) / 2
	var sum, taken float64
	for c := 0; c < end && taken < half; c++ {
		if k := float64(p.frames[c]); k > 0 {
			part := min(k, half-taken)
			sum += p.power[c] * part / k
			taken += part
		}
	}
	return samples.PowerDB(sum / taken), ""
}
