// Package bank turns engine recordings into grains: whole engine cycles, cut
// at one and the same crank phase in every recording, with what a note needs
// to choose among them.
//
// The grain unit is one full engine cycle (720° for a four-stroke, 360° for a
// two-stroke), not one firing: differences between cylinders and uneven
// firing live inside the cycle. Grains are not copied out; each is a pair of
// positions in its recording, and the audio around it (its overlap) is the
// recording's own.
//
// Build works in steps, a file each: marks (positions of one crank phase from
// the recording's track), align and follow (bring the phase of all recordings
// together, first as a whole, then along the revs, and find the quietest place
// of the cycle to cut), features (level, colour
// and the waveform at each cut), level (the smooth level over revs), and
// coverage (what the recordings cannot do).
package bank

import (
	"errors"
	"fmt"
	"math"
	"sort"

	"tachbench/samples"
	"tachbench/samples/crank"
)

// Recording is one engine recording with the revs along it.
type Recording struct {
	Name  string         // for messages: the path in the sheet
	Sound *samples.Sound // mono or stereo; all recordings at one rate
	Track *crank.Track   // in seconds of Sound
	Load  float64        // 0 overrun .. 1 full load
}

// Grain is one engine cycle of one recording.
type Grain struct {
	Rec        int     // index into Bank.Recordings
	Start, End float64 // frames in the recording, of the cut and the next cut
	RPM        float64
	LnRPM      float64
	Slope      float64 // d ln(RPM)/dt, 1/s; positive while revs rise
	LocalDB    float64 // level of its surroundings (17 cycles), dB re full-scale RMS
	LevelDB    float64 // its own level, dB re full-scale RMS
	Next       int     // index in the layer of the cycle that follows in the recording; -1 none
	Cut        int     // index of its first cut in Bank.cuts; its end cut is Cut+1
	Bands      [bandCount]float32
}

// Layer is all grains of about the same load, in order of RPM.
type Layer struct {
	Load    float64
	Grains  []Grain
	Level   LevelCurve // smooth level of the layer over revs
	Islands []Island   // in order of RPM; at least one
}

// Island is a range of a layer's grains without a gap in revs: a pull is one,
// and so is each hold that stands alone. Between islands a note has nothing
// of its own and mixes both shores.
type Island struct {
	From, To   int     // grains From..To-1 of the layer
	LnLo, LnHi float64 // ln(RPM) of the first and the last
	Likeness   float64 // correlation 0..1 of its upper shore with the next island's lower one; 0 for the last
}

const (
	islandGap = 0.03 // the gap in ln(RPM) that parts islands ...
	islandRel = 3.0  // ... if it is this many times as wide as the gaps beside it: slow cycles of a pull all lie far apart
	islandMin = 8    // grains an island has at least
)

// Audio is the sound of one recording, ready for reading with a margin.
type Audio struct {
	Name  string
	Load  float64
	Chans [][]float64 // Chans[c][Pad+frame]; Pad silent frames at both ends
}

// Pad is the number of silent frames before and after a recording in
// Audio.Chans, so that an interpolator never reads outside.
const Pad = 64

// Bank is everything a note plays from. It is not changed after Build and
// may be shared between goroutines.
type Bank struct {
	Layout     crank.Layout
	RateHz     int
	Channels   int // 1 or 2
	Recordings []Audio
	Layers     []Layer // in order of load
	CutPhase   float64 // where cycles are cut, in cycles after the aligned origin
	cuts       [][cutPoints]float32
	likeness   []float64 // likeness[i] between layer i and i+1
}

// layerGap is the smallest distance in load that makes a new layer.
const layerGap = 0.1

// followRounds is how often the phases are brought together; the second round
// sees cycles that the first has sharpened.
const followRounds = 2

// ErrNoGrains says that no recording gave a single usable engine cycle.
var ErrNoGrains = errors.New("no engine cycle could be cut from the recordings")

// Build cuts the recordings into grains. All recordings must share one rate
// and be mono or stereo; a bank is stereo when any recording is.
func Build(layout crank.Layout, recs []Recording) (*Bank, error) {
	if err := layout.Validate(); err != nil {
		return nil, err
	}
	if len(recs) == 0 {
		return nil, errors.New("an engine note needs at least one recording")
	}
	b := &Bank{Layout: layout, RateHz: recs[0].Sound.RateHz, Channels: 1}
	for _, r := range recs {
		if r.Sound.RateHz != b.RateHz {
			return nil, fmt.Errorf("%s: %d Hz beside %d Hz; bring all recordings to one rate first", r.Name, r.Sound.RateHz, b.RateHz)
		}
		switch r.Sound.Channels() {
		case 1:
		case 2:
			b.Channels = 2
		default:
			return nil, fmt.Errorf("%s: %d channels; engine recordings must be mono or stereo", r.Name, r.Sound.Channels())
		}
		if math.IsNaN(r.Load) || r.Load < 0 || r.Load > 1 {
			return nil, fmt.Errorf("%s: load must be 0 to 1, not %g", r.Name, r.Load)
		}
	}
	takes := make([]*take, len(recs))
	var stretches []*stretch
	for i, r := range recs {
		takes[i] = newTake(r)
		stretches = append(stretches, findStretches(i, takes[i], r, layout)...)
	}
	if len(stretches) == 0 {
		return nil, ErrNoGrains
	}
	align(stretches)
	for range followRounds {
		follow(stretches, layout)
		for _, s := range stretches {
			s.collect(takes[s.rec], layout)
		}
	}
	b.CutPhase = quietest(stretches)
	b.gather(recs, takes, stretches)
	if len(b.Layers) == 0 {
		return nil, ErrNoGrains
	}
	b.measureLikeness(recs, stretches)
	for _, r := range recs {
		b.Recordings = append(b.Recordings, pad(r, b.Channels))
	}
	return b, nil
}

// gather cuts every stretch and sorts the grains into layers.
func (b *Bank) gather(recs []Recording, takes []*take, stretches []*stretch) {
	loads := make([]float64, 0, len(recs))
	for _, s := range stretches {
		loads = append(loads, recs[s.rec].Load)
	}
	centres := cluster(loads)
	layers := make([]Layer, len(centres))
	for i, c := range centres {
		layers[i].Load = c
	}
	for _, s := range stretches {
		k := nearest(centres, recs[s.rec].Load)
		b.cut(&layers[k], s, takes[s.rec])
	}
	for _, l := range layers {
		if len(l.Grains) == 0 {
			continue
		}
		sortByRPM(l.Grains)
		l.Level = fitLevel(l.Grains)
		l.Islands = findIslands(l.Grains)
		b.Layers = append(b.Layers, l)
	}
}

// sortByRPM orders grains and keeps Next pointing at the same neighbours.
func sortByRPM(grains []Grain) {
	order := make([]int, len(grains))
	for i := range order {
		order[i] = i
	}
	sort.SliceStable(order, func(i, j int) bool { return grains[order[i]].LnRPM < grains[order[j]].LnRPM })
	at := make([]int, len(grains))
	for to, from := range order {
		at[from] = to
	}
	old := append([]Grain(nil), grains...)
	for to, from := range order {
		grains[to] = old[from]
		if n := old[from].Next; n >= 0 {
			grains[to].Next = at[n]
		}
	}
}

// parts tells whether the gap before grain i parts two islands.
func parts(grains []Grain, i int) bool {
	gap := grains[i].LnRPM - grains[i-1].LnRPM
	if gap <= islandGap {
		return false
	}
	const beside = 4
	lo, hi := max(0, i-1-beside), min(len(grains)-1, i+beside)
	below := (grains[i-1].LnRPM - grains[lo].LnRPM) / float64(max(1, i-1-lo))
	above := (grains[hi].LnRPM - grains[i].LnRPM) / float64(max(1, hi-i))
	return gap > islandRel*math.Max(below, above)
}

// findIslands parts sorted grains where the revs have a gap. An island of
// fewer than islandMin grains joins the nearer of its neighbours.
func findIslands(grains []Grain) []Island {
	var out []Island
	for i := range grains {
		if i == 0 || parts(grains, i) {
			out = append(out, Island{From: i, LnLo: grains[i].LnRPM})
		}
		k := &out[len(out)-1]
		k.To, k.LnHi = i+1, grains[i].LnRPM
	}
	for i := 0; i < len(out) && len(out) > 1; {
		if out[i].To-out[i].From >= islandMin {
			i++
			continue
		}
		first := i // of the pair that becomes one
		if i == len(out)-1 || i > 0 && out[i].LnLo-out[i-1].LnHi < out[i+1].LnLo-out[i].LnHi {
			first = i - 1
		}
		out[first].To, out[first].LnHi = out[first+1].To, out[first+1].LnHi
		out = append(out[:first+1], out[first+2:]...)
		i = first
	}
	return out
}

// cluster returns the centres of groups of loads that lie closer than
// layerGap to their neighbour, in order.
func cluster(loads []float64) []float64 {
	s := append([]float64(nil), loads...)
	sort.Float64s(s)
	var centres []float64
	for i := 0; i < len(s); {
		j, sum := i, 0.0
		for j < len(s) && (j == i || s[j]-s[j-1] < layerGap) {
			sum += s[j]
			j++
		}
		centres = append(centres, sum/float64(j-i))
		i = j
	}
	return centres
}

func nearest(centres []float64, x float64) int {
	best := 0
	for i, c := range centres {
		if math.Abs(c-x) < math.Abs(centres[best]-x) {
			best = i
		}
	}
	return best
}

// pad copies a recording with silent margins, mono doubled in a stereo bank.
func pad(r Recording, channels int) Audio {
	a := Audio{Name: r.Name, Load: r.Load, Chans: make([][]float64, channels)}
	for c := range a.Chans {
		if c > 0 && r.Sound.Channels() == 1 {
			a.Chans[c] = a.Chans[0]
			continue
		}
		ch := make([]float64, len(r.Sound.Chans[c])+2*Pad)
		copy(ch[Pad:], r.Sound.Chans[c])
		a.Chans[c] = ch
	}
	return a
}

// RangeRPM returns the lowest and highest revs at which any grain was
// recorded.
func (b *Bank) RangeRPM() (lo, hi float64) {
	lo, hi = math.Inf(1), math.Inf(-1)
	for _, l := range b.Layers {
		lo = math.Min(lo, l.Grains[0].RPM)
		hi = math.Max(hi, l.Grains[len(l.Grains)-1].RPM)
	}
	return lo, hi
}

// Stretch limits, as ratios of requested to recorded revs.
const (
	// ResampleLimit is how far a grain is played faster or slower than it
	// was recorded, 6 % (about a semitone): beyond it the exhaust's
	// resonances would audibly move with the revs (common practice; engine
	// reference, section 2).
	ResampleLimit = 0.06
	// RespaceLimit is how much closer or further apart than recorded cycles
	// are set on top of that; beyond 15 to 20 % pulses double or leave gaps
	// (engine reference, section 2).
	RespaceLimit = 0.12
)

// ReachRPM returns the revs that the note can be taken to: the recorded range
// widened by the resampling and re-spacing limits.
func (b *Bank) ReachRPM() (lo, hi float64) {
	lo, hi = b.RangeRPM()
	k := (1 + ResampleLimit) * (1 + RespaceLimit)
	return lo / k, hi * k
}

// GrainCount returns the number of grains in all layers.
func (b *Bank) GrainCount() int {
	n := 0
	for _, l := range b.Layers {
		n += len(l.Grains)
	}
	return n
}
