package duck

import (
	"fmt"
	"math"

	"tachbench/mixplan"
)

// rule is one [[ducking]] in action.
type rule struct {
	mixplan.Duck
	slew
	win  windows
	next int  // first window that is not over
	ever bool // something was or will be spoken
}

// Course is the way of one category through time: what it yields, frame by
// frame. Speak says what will be spoken; Next and Apply move on. It belongs to
// one goroutine.
type Course struct {
	rateHz int
	pos    int64
	rules  []*rule // without a band
	bands  []*band
	cost   Cost

	broad, deep []float64 // work space
}

// band is the rules that share a dip.
type band struct {
	mixplan.Dip
	rules  []*rule
	shape  shape
	states []state
}

// Cost is what a course has taken from its category so far.
type Cost struct {
	Times     int     // ducks, from 0 dB to 0 dB
	Frames    int64   // frames with any attenuation
	DeepestDB float64 // largest attenuation, whole category or band
	yielding  bool
}

// New returns the course of a category at frame 0, yielding under the given
// ducks; those of other categories are passed over. It panics on a duck that
// Duck.Validate refuses, on a rate that is not positive, and on a dip that
// reaches half the rate.
func New(rateHz int, category string, ducks []mixplan.Duck) *Course {
	if rateHz <= 0 {
		panic(fmt.Sprintf("duck: a rate of %d Hz", rateHz))
	}
	c := &Course{rateHz: rateHz}
	for _, d := range ducks {
		if d.Category != category {
			continue
		}
		if err := d.Validate(); err != nil {
			panic("duck: " + err.Error())
		}
		r := &rule{Duck: d, slew: slew{
			depth: d.DepthDB,
			down:  d.DepthDB * 1000 / (d.AttackMS * float64(rateHz)),
			up:    d.DepthDB * 1000 / (d.ReleaseMS * float64(rateHz)),
		}}
		if d.Dip == nil {
			c.rules = append(c.rules, r)
		} else {
			c.join(r)
		}
	}
	for _, b := range c.bands {
		deepest := 0.0
		for _, r := range b.rules {
			deepest = max(deepest, r.DepthDB)
		}
		b.shape = newShape(rateHz, b.Dip, deepest)
	}
	return c
}

// join puts a rule to those of its band.
func (c *Course) join(r *rule) {
	for _, b := range c.bands {
		if b.Dip == *r.Dip {
			b.rules = append(b.rules, r)
			return
		}
	}
	c.bands = append(c.bands, &band{Dip: *r.Dip, rules: []*rule{r}})
}

// each calls f for every rule.
func (c *Course) each(f func(*rule)) {
	for _, r := range c.rules {
		f(r)
	}
	for _, b := range c.bands {
		for _, r := range b.rules {
			f(r)
		}
	}
}

// Speak says that a sound of category under speaks from fromS to toS, seconds
// from frame 0. It may be called at any time; what of it lies before the
// present frame changes nothing any more. Categories nobody yields to are
// passed over.
func (c *Course) Speak(under string, fromS, toS float64) {
	if !(toS > fromS) {
		return
	}
	c.each(func(r *rule) {
		if r.Under != under {
			return
		}
		w := Window{at(fromS-r.LookaheadMS/1000, c.rateHz), at(toS+r.HoldMS/1000, c.rateHz)}
		if w.From = max(w.From, c.pos); w.To > w.From {
			r.win, r.next, r.ever = r.win[r.next:].add(w), 0, true
		}
	})
}

// Idle reports whether no rule ever yields: there is nothing to apply.
func (c *Course) Idle() bool {
	idle := true
	c.each(func(r *rule) { idle = idle && !r.ever })
	return idle
}

// Position returns the next frame.
func (c *Course) Position() int64 { return c.pos }

// Cost returns what was taken so far.
func (c *Course) Cost() Cost { return c.cost }

// Bands returns the bands of the category's dips, in the order in which Next
// fills them.
func (c *Course) Bands() []mixplan.Dip {
	var out []mixplan.Dip
	for _, b := range c.bands {
		out = append(out, b.Dip)
	}
	return out
}

// run lets a rule pass over the next frames from c.pos.
func (c *Course) run(r *rule, dst []float64) {
	for i := 0; i < len(dst); {
		n := c.pos + int64(i)
		for r.next < len(r.win) && r.win[r.next].To <= n {
			r.next++
		}
		end := len(dst)
		if r.next == len(r.win) || n < r.win[r.next].From {
			if r.next < len(r.win) {
				end = int(min(int64(end), r.win[r.next].From-c.pos))
			}
			r.released(dst[i:end])
		} else {
			end = int(min(int64(end), r.win[r.next].To-c.pos))
			r.wanted(dst[i:end])
		}
		i = end
	}
}

// Next writes the attenuation of the next len(broad) frames in dB, 0 or more:
// of the whole category into broad and beyond that of each band of Bands into
// dips, of which there may be none. It panics on another shape.
func (c *Course) Next(broad []float64, dips ...[]float64) {
	if len(dips) != 0 && len(dips) != len(c.bands) {
		panic(fmt.Sprintf("duck: room for %d dips, not %d", len(dips), len(c.bands)))
	}
	clear(broad)
	for _, r := range c.rules {
		c.run(r, broad)
	}
	if cap(c.deep) < len(broad) {
		c.deep = make([]float64, len(broad))
	}
	most := c.deep[:len(broad)]
	copy(most, broad)
	for i, b := range c.bands {
		var d []float64
		if len(dips) > 0 {
			d = dips[i]
		} else {
			d = make([]float64, len(broad))
		}
		clear(d[:len(broad)])
		for _, r := range b.rules {
			c.run(r, d[:len(broad)])
		}
		for j, v := range broad {
			most[j] = max(most[j], d[j])
			d[j] = max(0, d[j]-v)
		}
	}
	c.cost.count(most)
	c.pos += int64(len(broad))
}

func (k *Cost) count(attenuation []float64) {
	for _, a := range attenuation {
		if a > 0 {
			if !k.yielding {
				k.Times++
			}
			k.Frames++
			k.DeepestDB = max(k.DeepestDB, a)
		}
		k.yielding = a > 0
	}
}

// applyChunk is how many frames Apply takes at a time.
const applyChunk = 512

// Apply turns the next frames of the category's sound down, in place; one
// slice a channel, all of one length, the number of channels always the same.
func (c *Course) Apply(block [][]float64) {
	if c.broad == nil {
		c.broad = make([]float64, applyChunk*(1+len(c.bands)))
		for _, b := range c.bands {
			b.states = make([]state, len(block))
		}
	}
	dips := make([][]float64, len(c.bands))
	for from := 0; from < len(block[0]); from += applyChunk {
		to := min(len(block[0]), from+applyChunk)
		broad := c.broad[:to-from]
		for i := range dips {
			dips[i] = c.broad[applyChunk*(1+i):][:to-from]
		}
		c.Next(broad, dips...)
		for i, b := range c.bands {
			gains(dips[i])
			for ch := range block {
				b.shape.run(&b.states[ch], block[ch][from:to], dips[i])
			}
		}
		gains(broad)
		for ch := range block {
			x := block[ch][from:to]
			for i, g := range broad {
				x[i] *= g
			}
		}
	}
}

// gains turns attenuations in dB into gains, in place. Ramps are short beside
// what lies between them, so equal neighbours are worth a look.
func gains(a []float64) {
	last, g := 0.0, 1.0
	for i, v := range a {
		if v != last {
			last, g = v, math.Exp(v*(-math.Ln10/20))
		}
		a[i] = g
	}
}
