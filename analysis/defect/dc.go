package defect

import "math"

// dc tells a constant offset from the mean that any short sound has: the
// means of stretches of 0.1 s must agree on it.
type dc struct {
	sum, block   float64
	n, blockN    int
	ticks        int
	blocks       float64
	mean1, mean2 float64 // Σ of block means, Σ of their squares
}

const (
	dcBlockTicks = 100
	dcBlocks     = 3   // stretches needed
	dcSure       = 4.0 // the offset must be so many standard errors from zero
)

func (d *dc) add(t *tick) {
	d.sum += t.sum
	d.n += int(t.n)
	d.block += t.sum
	d.blockN += int(t.n)
	if d.ticks++; d.ticks == dcBlockTicks {
		m := d.block / float64(d.blockN)
		d.mean1 += m
		d.mean2 += m * m
		d.blocks++
		d.block, d.blockN, d.ticks = 0, 0, 0
	}
}

func (d *dc) findings(channel int, opt Options) []Finding {
	limit := opt.Limit("dc")
	if d.n == 0 || d.blocks < dcBlocks {
		return nil
	}
	mean := d.sum / float64(d.n)
	m := d.mean1 / d.blocks
	spread := math.Sqrt(max(d.mean2/d.blocks-m*m, 0) / (d.blocks - 1))
	if math.Abs(mean) < limit || math.Abs(mean) < dcSure*spread {
		return nil
	}
	return []Finding{found("dc", wholeFile, channel, reading{value: mean, limit: limit, unit: "full scale"},
		"The wave is off the middle by %.2f %% of full scale.", 100*mean)}
}
