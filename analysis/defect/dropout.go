package defect

import (
	"math"

	"tachbench/samples"
)

// A dropout is a standstill: the same value, most often zero, for a millisecond
// or more, between sound that was neither fading out before it nor fading in
// after it.
const (
	dropoutSoundDBFS = -45.0 // sound needed on both sides
	dropoutSteps     = 24    // and so many quantisation steps
	dropoutBeside    = 3     // ticks looked at right beside the standstill
	dropoutWide      = 12    // ticks that tell whether the near ones are part of a fade
	dropoutFadeDB    = 10.0  // a side this far under the wider level is fading
	dropoutTop       = 0.05  // share of the local range that counts as its top
	dropoutPending   = 8     // standstills that wait for their right side
	dropoutsListed   = 10
	// More standstills a second than this are the shape of the wave (a
	// square wave, a sample-and-hold), not accidents.
	dropoutsPerS = 5.0
)

type dropout struct {
	shortest, longest int64
	sound             float64 // mean power needed on both sides
	rateHz            float64

	last  float64
	run   int64 // samples equal to the last one, itself included
	start int64 // frame of the first of them
	// side is the tick in which the run started.
	side int64

	wait    [dropoutPending]standstill
	waiting int
	list    [dropoutsListed]standstill
	count   int
	still   int64 // standstills after sound, of any length
	frames  int64
}

type standstill struct {
	start, n int64
	from, to int64 // ticks of its first sample and of the first sample after it
	value    float64
}

func newDropout(step, rateHz float64, opt Options) dropout {
	return dropout{
		shortest: max(int64(math.Ceil(opt.Limit("dropout_s")*rateHz)), 4),
		longest:  int64(opt.Limit("dropout_max_s") * rateHz),
		sound:    max(samples.DBPower(dropoutSoundDBFS), dropoutSteps*dropoutSteps*step*step),
		rateHz:   rateHz,
		last:     math.NaN(),
	}
}

// process follows runs of equal samples through tick t, which starts at frame
// pos and is the newest tick of c.
func (d *dropout) process(c *channel, x []float64, pos int64, t *tick) {
	d.settle(c, c.ticks-1)
	d.frames = pos + int64(len(x))
	switch {
	case int(t.equal) == len(x):
		d.run += int64(len(x))
		return
	case t.equal == 0 || d.run+int64(t.equal) < d.shortest:
		// Nothing long enough can end inside this tick.
		d.close(c, pos)
		d.restart(c, x, pos)
		return
	}
	for i, v := range x {
		if v == d.last {
			d.run++
			continue
		}
		d.close(c, pos+int64(i))
		d.last, d.run, d.start, d.side = v, 1, pos+int64(i), c.ticks
	}
}

// restart begins the run that ends with the last sample of x.
func (d *dropout) restart(c *channel, x []float64, pos int64) {
	i := len(x) - 1
	d.last = x[i]
	for i > 0 && x[i-1] == d.last {
		i--
	}
	d.run, d.start, d.side = int64(len(x)-i), pos+int64(i), c.ticks
}

// close ends the open run before frame end.
func (d *dropout) close(c *channel, end int64) {
	n := d.run
	d.run = 0
	if n < d.shortest || d.start == 0 {
		return
	}
	if !d.loud(c, d.side, -1) {
		return
	}
	d.still++
	if n > d.longest || d.waiting == dropoutPending {
		return
	}
	d.wait[d.waiting] = standstill{start: d.start, n: n, from: d.side, to: c.ticks, value: d.last}
	d.waiting++
}

// onTop reports whether a standstill lies at the highest or lowest level of what
// is around it: then it is a flat top, the business of clip.
func (d *dropout) onTop(c *channel, s standstill) bool {
	hi, lo := math.Inf(-1), math.Inf(1)
	for i := max(s.from-dropoutWide, 0); i <= min(s.to+dropoutWide, c.ticks-1); i++ {
		hi, lo = max(hi, c.at(i).hi), min(lo, c.at(i).lo)
	}
	margin := dropoutTop * (hi - lo)
	return s.value >= hi-margin || s.value <= lo+margin
}

// loud reports whether the ticks beside tick k in direction dir hold sound that
// is not part of a fade. Tick k itself holds part of the standstill and counts
// only by its neighbours. The loudest of the near ticks counts, as a low tone
// passes through zero in some; its power is that of the samples as they are, as
// a tick is too short for a mean of its own.
func (d *dropout) loud(c *channel, k int64, dir int64) bool {
	near, wide := 0.0, 0.0
	for j := int64(1); j <= dropoutWide; j++ {
		i := k + dir*j
		if i < 0 || i >= c.ticks {
			return false
		}
		t := c.at(i)
		p := t.sq / float64(t.n)
		if j <= dropoutBeside {
			near = max(near, p)
		}
		wide += p / dropoutWide
	}
	return near >= d.sound && near*samples.DBPower(dropoutFadeDB) >= wide
}

// settle judges the standstills whose right side is complete by tick newest.
func (d *dropout) settle(c *channel, newest int64) {
	for d.waiting > 0 && d.wait[0].to+dropoutWide <= newest {
		if s := d.wait[0]; d.loud(c, s.to, 1) && !d.onTop(c, s) {
			if d.count < dropoutsListed {
				d.list[d.count] = s
			}
			d.count++
		}
		copy(d.wait[:], d.wait[1:d.waiting])
		d.waiting--
	}
}

func (d *dropout) finish(c *channel) { d.settle(c, c.ticks-1) }

func (d *dropout) findings(channel int, rateHz float64) []Finding {
	if float64(d.still) > dropoutsPerS*max(float64(d.frames)/rateHz, 0.5) {
		return nil
	}
	var out []Finding
	for i, s := range d.list[:min(d.count, dropoutsListed)] {
		more := ""
		if i == dropoutsListed-1 && d.count > dropoutsListed {
			more = " " + plural(int64(d.count-dropoutsListed), "more place is", "more places are") + " not listed."
		}
		what := "stands still"
		if s.value == 0 {
			what = "is exactly zero"
		}
		out = append(out, found("dropout", float64(s.start)/rateHz, channel,
			reading{value: float64(s.n) / rateHz, limit: float64(d.shortest) / rateHz, unit: "s"},
			"In the middle of the sound the signal %s for %s.%s", what, seconds(float64(s.n)/rateHz), more))
	}
	return out
}
