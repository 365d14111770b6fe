package note

import (
	"math"
	"sync"

	"tachbench/samples"
	"tachbench/samples/bank"
)

// tickFrames is the grid, counted from the first frame, on which revs and
// load are looked at: 0.33 ms at 48 kHz.
const tickFrames = 16

const (
	rpmGlideS  = 0.012 // time constant with which a live note follows Set
	loadGlideS = 0.020 // time constant with which the mix of layers follows the load
	slopeS     = 0.050 // time constant of the direction of change
	edgeS      = 0.010 // fade at the very start and the very end
	// singleLayerDB is how much quieter than its one layer a note gets per
	// unit of load when the recordings hold one load only (common practice,
	// no source: shut throttle is some 10 dB below full).
	singleLayerDB = 10
)

// Source is revs and load over time: a curve, or anything that can answer.
type Source interface {
	At(tS float64) (rpm, load float64)
}

// Use is one grain taken: which, from which layer, when.
type Use struct {
	Layer, Grain int
	TimeS        float64
}

// Options for New. The zero value is a note of seed 0 that is steered by Set.
type Options struct {
	Seed   uint64
	Source Source    // what to follow; nil: steered by Set
	Frames int64     // length; 0 endless
	OnUse  func(Use) // called for every grain taken; may be nil
}

// state is what all chains see of the present tick.
type state struct {
	rateHz   float64
	timeS    float64
	phase    float64 // engine cycles at the start of the tick
	phaseEnd float64 // and at its end
	cycleHz  float64
	lnRPM    float64
	slope    float64 // d ln(RPM)/dt, 1/s
	block    [][]float64
}

// Note is a continuous engine note. Fill and Stream belong to one goroutine;
// Set may be called from another.
type Note struct {
	bank   *bank.Bank
	opt    Options
	st     state
	chains [][]*chain // [layer][island]
	lo, hi float64    // RPM the bank can reach
	tick   int64      // next tick
	have   int        // frames left in st.block
	done   int64      // frames handed out
	load   float64    // as smoothed
	began  bool
	held   int64 // ticks in which the request lay outside lo..hi
	endAt  int64 // frame at which the note ends; -1 unknown

	mu       sync.Mutex // guards what Set and Stop leave for the next tick
	wantRPM  float64
	wantLoad float64
	wantEnd  bool

	planarOne  [2][]float64 // buffers of Stream, made once
	monoView   [1][]float64
	stereoView [2][]float64
}

// New returns a note at the lowest revs of the bank's lowest load, until it is
// told otherwise. It panics on a nil bank.
func New(b *bank.Bank, opt Options) *Note {
	n := &Note{bank: b, opt: opt, endAt: -1}
	n.lo, n.hi = b.ReachRPM()
	n.st.rateHz = float64(b.RateHz)
	n.st.block = make([][]float64, b.Channels)
	for c := range n.st.block {
		n.st.block[c] = make([]float64, tickFrames)
	}
	for i := range b.Layers {
		var row []*chain
		for k := range b.Layers[i].Islands {
			c := newChain(b, i, k, opt.Seed)
			if opt.OnUse != nil {
				c.used = func(g int, tS float64) { opt.OnUse(Use{i, g, tS}) }
			}
			row = append(row, c)
		}
		n.chains = append(n.chains, row)
	}
	n.wantRPM, n.wantLoad = b.Layers[0].Grains[0].RPM, 1
	if opt.Frames > 0 {
		n.endAt = opt.Frames
	}
	return n
}

// Channels returns 1 or 2, as the recordings have.
func (n *Note) Channels() int { return n.bank.Channels }

// RateHz returns the frames per second.
func (n *Note) RateHz() int { return n.bank.RateHz }

// Position returns the number of frames handed out so far.
func (n *Note) Position() int64 { return n.done }

// HeldS returns for how many seconds the request lay outside what the bank
// can reach and was held to its edge.
func (n *Note) HeldS() float64 { return float64(n.held*tickFrames) / n.st.rateHz }

// RPM returns the revs that sound at the end of the last tick.
func (n *Note) RPM() float64 { return math.Exp(n.st.lnRPM) }

// Set steers a note without a Source: the revs glide there within some
// 30 ms. The move takes effect at the first tick that has not been made yet.
// Values that are not numbers, and revs of 0 or less, are passed over; load is
// held to 0..1.
func (n *Note) Set(rpm, load float64) {
	n.mu.Lock()
	defer n.mu.Unlock()
	if rpm > 0 && !math.IsInf(rpm, 1) {
		n.wantRPM = rpm
	}
	if !math.IsNaN(load) {
		n.wantLoad = math.Max(0, math.Min(1, load))
	}
}

// Stop fades the note out within 10 ms and ends it.
func (n *Note) Stop() {
	n.mu.Lock()
	n.wantEnd = true
	n.mu.Unlock()
}

// Fill writes the next frames of the note into dst, one slice a channel, all
// of one length, and returns how many; fewer than asked for only at the end,
// then 0. Nothing past that count is touched. It panics when dst has another
// number of channels than the note.
func (n *Note) Fill(dst [][]float64) int {
	if len(dst) != n.bank.Channels {
		panic("note: Fill needs one slice a channel")
	}
	filled := 0
	for filled < len(dst[0]) {
		if n.have == 0 {
			n.render()
		}
		k := min(n.have, len(dst[0])-filled)
		if n.endAt >= 0 {
			k = min(k, int(max(0, n.endAt-n.done)))
		}
		if k == 0 {
			break
		}
		from := tickFrames - n.have
		for c := range dst {
			copy(dst[c][filled:filled+k], n.st.block[c][from:from+k])
		}
		n.have -= k
		n.done += int64(k)
		filled += k
	}
	return filled
}

// render makes the next tick.
func (n *Note) render() {
	st := &n.st
	for _, ch := range st.block {
		clear(ch)
	}
	n.steer()
	st.phaseEnd = st.phase + st.cycleHz*tickFrames/st.rateHz
	for i := range n.chains {
		n.renderLayer(i, n.layerGain(i))
	}
	n.edges()
	st.phase = st.phaseEnd
	n.tick++
	st.timeS = float64(n.tick*tickFrames) / st.rateHz
	n.have = tickFrames
}

// steer finds the revs and load of the tick.
func (n *Note) steer() {
	st := &n.st
	n.mu.Lock()
	rpm, load, end := n.wantRPM, n.wantLoad, n.wantEnd
	n.mu.Unlock()
	if end && n.endAt < 0 {
		n.endAt = n.tick*tickFrames + int64(edgeS*st.rateHz)
	}
	dt := tickFrames / st.rateHz
	if n.opt.Source != nil {
		rpm, load = n.opt.Source.At(st.timeS + dt/2)
	}
	if !(rpm >= n.lo && rpm <= n.hi) {
		n.held++
		rpm = math.Max(n.lo, math.Min(n.hi, rpm))
	}
	ln := math.Log(rpm)
	if !n.began {
		n.began = true
		st.lnRPM, n.load = ln, load
	}
	before := st.lnRPM
	if n.opt.Source != nil {
		st.lnRPM = ln
	} else {
		st.lnRPM += (ln - st.lnRPM) * (1 - math.Exp(-dt/rpmGlideS))
	}
	st.slope += ((st.lnRPM-before)/dt - st.slope) * (1 - math.Exp(-dt/slopeS))
	n.load += (load - n.load) * (1 - math.Exp(-dt/loadGlideS))
	st.cycleHz = n.bank.Layout.CycleHz(math.Exp(st.lnRPM))
}

// silent is the gain under which a chain need not run, -80 dB.
const silent = 1e-4

// renderLayer adds the tick of one layer, on one island or between two.
func (n *Note) renderLayer(layer int, gain float64) {
	is := n.bank.Layers[layer].Islands
	ln := n.st.lnRPM
	k := 0 // the island at or below the revs
	for k+1 < len(is) && ln >= is[k+1].LnLo {
		k++
	}
	lower, upper := 1.0, 0.0
	if k+1 < len(is) && ln > is[k].LnHi {
		lower, upper = mixGains((ln-is[k].LnHi)/(is[k+1].LnLo-is[k].LnHi), is[k].Likeness)
	}
	for i, c := range n.chains[layer] {
		target := 0.0
		switch i {
		case k:
			target = gain * lower
		case k + 1:
			target = gain * upper
		}
		if target < silent {
			if c.now.grain < 0 || c.now.gain == 0 {
				c.stop()
				continue
			}
			target = 0 // one more tick, to fade out
		}
		c.tick(&n.st, tickFrames, target)
	}
}

// layerReach is how far beyond its recorded revs, in ln(RPM), a layer is still
// worth hearing: what resampling and re-spacing can make up. It has gone after
// another layerFade.
var layerReach = math.Log((1 + bank.ResampleLimit) * (1 + bank.RespaceLimit))

const layerFade = 0.1

// worth returns 1 where a layer has grains near the present revs, falling to
// 0 where it has none.
func (n *Note) worth(layer int) float64 {
	g := n.bank.Layers[layer].Grains
	d := math.Max(g[0].LnRPM-n.st.lnRPM, n.st.lnRPM-g[len(g)-1].LnRPM)
	return math.Max(0, math.Min(1, 1-(d-layerReach)/layerFade))
}

// layerGain returns the share of a layer in the present mix. The two layers
// whose loads lie around the request sound; where one of them has nothing
// near these revs the other stands in, turned down or up by singleLayerDB
// times the difference in load.
func (n *Note) layerGain(layer int) float64 {
	l := n.bank.Layers
	if len(l) == 1 {
		return samples.DBAmplitude(singleLayerDB * (n.load - l[0].Load))
	}
	low := 0 // the pair low, low+1 sounds
	for low+2 < len(l) && n.load > l[low+1].Load {
		low++
	}
	if layer != low && layer != low+1 {
		return 0
	}
	asked := math.Max(0, math.Min(1, (n.load-l[low].Load)/(l[low+1].Load-l[low].Load)))
	a, b := n.worth(low), n.worth(low+1)
	share := asked
	if a < 1 || b < 1 {
		wa, wb := a*(1-asked), b*asked
		if wa+wb < silent { // what is asked for is not there: the other one alone
			wa, wb = a, b
		}
		if wa+wb > 0 {
			share = wb / (wa + wb)
		}
	}
	lower, upper := mixGains(share, n.bank.Likeness(low))
	stand := samples.DBAmplitude(singleLayerDB * (asked - share) * (l[low+1].Load - l[low].Load))
	if layer == low {
		return lower * stand
	}
	return upper * stand
}

// edges fades the first and the last edgeS of the note.
func (n *Note) edges() {
	edge := edgeS * n.st.rateHz
	at := n.tick * tickFrames
	if at >= int64(edge) && (n.endAt < 0 || at+tickFrames < n.endAt-int64(edge)) {
		return
	}
	for i := 0; i < tickFrames; i++ {
		f := float64(at) + float64(i)
		g := math.Min(1, f/edge)
		if n.endAt >= 0 {
			g = math.Min(g, math.Max(0, (float64(n.endAt)-1-f)/edge))
		}
		g = 0.5 - 0.5*math.Cos(math.Pi*g)
		for _, ch := range n.st.block {
			ch[i] *= g
		}
	}
}
