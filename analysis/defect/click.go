package defect

import (
	"tachbench/samples"
)

// A click is a second difference that stands alone: far above everything in
// the 60 ms on either side but for the 1 ms beside it, and with the same kind
// of sound after it as before. The pulses of an engine or a voice come in
// series, the onset of a drum or a word is followed by more sound than
// preceded it, and neither passes. What rings for a few milliseconds is a
// struck thing or a tongue, not a broken sample, so the difference must lie in
// a few samples.
const (
	clickTicks = 60  // ticks on each side
	clickNear  = 2   // ticks next to it that may ring
	clickMin   = 8   // ticks of sound needed on each side; nearer to an end it is a click of that end
	clickOnset = 2.0 // amplitude ratio after/before that makes it an onset
	clickMean  = 20  // ratio to the mean second difference on both sides
	// Sum of its second differences over the largest one: a lone sample gives
	// 2, a step 2, two equal samples 4. At low rates a sample is long enough
	// to hold the burst of a consonant, so less is allowed there.
	clickCompact    = 4.2
	clickCompactLow = 2.5
	clickLowRateHz  = 16000
	clickSteps      = 8  // quantisation steps a click must have
	clicksListed    = 10 // findings a channel, at most; the rest is counted
)

type click struct {
	ratio, floor float64
	compact      float64
	hidden       float64 // ratio of the residual
	next         int64   // tick to be judged
	list         [clicksListed]clickAt
	count        int
	white        *whitener
	raw          []float64 // ring of samples, a power of two long; nil at low rates
	rawAt        int64
	tickLen      int64
	last         int64 // newest tick that was whitened
}

type clickAt struct {
	tick          int64
	height, ratio float64
}

func newClick(step, rateHz float64, opt Options) click {
	k := click{
		ratio:   opt.Limit("click_ratio"),
		floor:   max(samples.DBAmplitude(opt.Limit("click_min_dbfs")), clickSteps*step),
		next:    clickMin,
		compact: clickCompact,
		hidden:  opt.Limit("click_residual_ratio"),
		tickLen: int64(rateHz) / 1000,
		last:    -clickTicks,
	}
	if rateHz < clickLowRateHz {
		k.compact = clickCompactLow
		return k
	}
	k.white = newWhitener(rateHz)
	n := 1
	for float64(n) < 0.12*rateHz {
		n *= 2
	}
	k.raw = make([]float64, n)
	return k
}

// keep remembers the newest samples for the whitener.
func (k *click) keep(x []float64) {
	if k.raw == nil {
		return
	}
	at := int(k.rawAt) & (len(k.raw) - 1)
	n := copy(k.raw[at:], x)
	copy(k.raw, x[n:])
	k.rawAt += int64(len(x))
}

// process judges the tick whose surroundings have just become complete.
func (k *click) process(c *channel) {
	for k.next+clickTicks < c.ticks {
		k.judge(c, k.next)
		k.next++
	}
}

// finish judges the ticks near the end, whose surroundings are short.
func (k *click) finish(c *channel) {
	for k.next+clickMin < c.ticks {
		k.judge(c, k.next)
		k.next++
	}
}

func (k *click) judge(c *channel, at int64) {
	t := c.at(at)
	if t.d2Max < k.floor {
		return
	}
	if t.d1Max >= wrapJump && c.wrap.count > 0 {
		return // told as wrapped-around
	}
	if c.at(at-1).d2Max > t.d2Max || c.at(at+1).d2Max > t.d2Max {
		return // the neighbour is judged instead
	}
	if ratio, ok := k.plain(c, at); ok {
		k.add(clickAt{tick: at, height: t.d2Max, ratio: ratio})
	} else if ratio, ok := k.hiddenIn(c, at); ok {
		k.add(clickAt{tick: at, height: t.d2Max, ratio: ratio})
	}
}

func (k *click) add(a clickAt) {
	if k.count < clicksListed {
		k.list[k.count] = a
	}
	k.count++
}

// plain looks at the second differences alone, as kept in the ticks.
func (k *click) plain(c *channel, at int64) (ratio float64, ok bool) {
	peak := c.at(at).d2Max
	first, last := max(at-clickTicks, 0), min(at+clickTicks, c.ticks-1)
	rest := 0.0
	for d := int64(clickNear); d <= clickTicks; d++ {
		if at-d >= first {
			rest = max(rest, c.at(at-d).d2Max)
		}
		if at+d <= last {
			rest = max(rest, c.at(at+d).d2Max)
		}
		if rest*k.ratio > peak {
			return 0, false
		}
	}
	var before, after, soundBefore, soundAfter float64
	nb, na := 0, 0
	for d := int64(clickNear); d <= clickTicks/2; d++ {
		if at-d >= first {
			u := c.at(at - d)
			before += u.d2Mean()
			soundBefore += u.ac()
			nb++
		}
		if at+d <= last {
			u := c.at(at + d)
			after += u.d2Mean()
			soundAfter += u.ac()
			na++
		}
	}
	before, after = before/float64(nb), after/float64(na)
	soundBefore, soundAfter = soundBefore/float64(nb), soundAfter/float64(na)
	body := 0.0
	for d := int64(-1); d <= 1; d++ {
		u := c.at(at + d)
		body += u.d2Sum - float64(u.n)*max(before, after)
	}
	if peak < clickMean*max(before, after) || body > k.compact*peak {
		return 0, false
	}
	if after > clickOnset*before+k.floor/clickMean || soundAfter > clickOnset*clickOnset*soundBefore+k.floor*k.floor {
		return 0, false
	}
	ratio = peak / k.floor
	if rest > 0 {
		ratio = min(ratio, peak/rest)
	}
	return ratio, true
}

func (k *click) findings(channel, tickLen int, rateHz float64, frames int64) []Finding {
	var out []Finding
	for i, c := range k.list[:min(k.count, clicksListed)] {
		more := ""
		if i == clicksListed-1 && k.count > clicksListed {
			more = " " + plural(int64(k.count-clicksListed), "more place is", "more places are") + " not listed."
		}
		out = append(out, found("click", float64(min(c.tick*int64(tickLen), frames-1))/rateHz, channel,
			reading{value: c.height, limit: k.floor, unit: "full scale"},
			"A single tick stands %.0f times above everything near it.%s", c.ratio, more))
	}
	return out
}
