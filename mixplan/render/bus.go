package render

import (
	"github.com/gopxl/beep/v2"
	"github.com/gopxl/beep/v2/effects"

	"tachbench/mixplan/duck"
	"tachbench/mixplan/engine"
	"tachbench/mixplan/scene"
	"tachbench/synth/curve"
	"tachbench/synth/note"
)

// mixChunk is how many frames a bus adds up at a time.
const mixChunk = 512

// bus is one category: its streams added up, and its ducks.
type bus struct {
	category string
	placed   []placed
	course   *duck.Course
	notes    []*note.Note
	sink     Sink
	one, raw [mixChunk][2]float64
	whole    [][]float64 // room for the largest block
	block    [][]float64 // its front

	// ahead goes the same way as course, to be asked for its depths.
	ahead       *duck.Course
	broad       []float64
	dips        [][]float64
	dipsFront   [][]float64
	duckDB, dip float64
}

// placed is a stream in its place, frames from at to end.
type placed struct {
	at, end int64
	s       beep.Streamer
	done    bool
}

// newBus puts the events of a category in their places.
func newBus(category string, t *scene.Timeline, eng *engine.Engine, o StreamOptions) *bus {
	b := &bus{category: category, block: make([][]float64, o.Channels)}
	for range o.Channels {
		b.whole = append(b.whole, make([]float64, o.MaxFrames))
	}
	for _, e := range t.Events {
		if e.Category != category || e.End <= e.At {
			continue
		}
		var s beep.Streamer
		if e.Curve != nil {
			// A curve remembers where it was read last; this render needs its own.
			own, err := curve.New(e.Curve.Points())
			if err != nil {
				panic("render: " + err.Error())
			}
			n := note.New(eng.Bank, note.Options{Seed: o.Seed, Source: own, Frames: e.End - e.At})
			b.notes = append(b.notes, n)
			s = n
		} else {
			s = voice(e.Clip, e.Loop, t.RateHz)
		}
		if trim := o.Plan.TrimDB(category, e.Path); trim != 0 {
			s = &effects.Volume{Streamer: s, Base: 10, Volume: trim / 20}
		}
		b.placed = append(b.placed, placed{at: e.At, end: e.End, s: s})
	}
	b.course = course(category, t, o)
	if o.Depths && !b.course.Idle() {
		b.ahead = course(category, t, o)
		b.broad = make([]float64, o.MaxFrames)
		for range b.ahead.Bands() {
			b.dips = append(b.dips, make([]float64, o.MaxFrames))
			b.dipsFront = append(b.dipsFront, nil)
		}
	}
	return b
}

// course returns how a category yields in a scene.
func course(category string, t *scene.Timeline, o StreamOptions) *duck.Course {
	c := duck.New(t.RateHz, category, o.Plan.Yielding(category))
	for _, e := range t.Events {
		for _, a := range e.Active {
			c.Speak(e.Category, a.FromS, a.ToS)
		}
	}
	return c
}

// next makes the next n frames of the bus, before the bus gain. at counts
// frames of the scene.
func (b *bus) next(n int, at int64, insert func(string, [][]float64)) [][]float64 {
	for c := range b.block {
		b.block[c] = b.whole[c][:n]
	}
	for from := 0; from < n; from += mixChunk {
		raw := b.raw[:min(mixChunk, n-from)]
		clear(raw)
		b.mix(raw, at+int64(from))
		for c := range b.block {
			out := b.block[c][from : from+len(raw)]
			for i := range raw {
				out[i] = raw[i][c]
			}
		}
	}
	if insert != nil {
		insert(b.category, b.block)
	}
	if !b.course.Idle() {
		b.course.Apply(b.block)
	}
	if b.ahead != nil && n > 0 {
		b.look(n)
	}
	return b.block
}

// mix adds every stream that sounds in the frames from at on. What is silent
// adds nothing, so it is passed over; the order is always that of the scene.
func (b *bus) mix(raw [][2]float64, at int64) {
	end := at + int64(len(raw))
	for i := range b.placed {
		p := &b.placed[i]
		if p.done || p.at >= end {
			continue
		}
		dst := raw[max(0, p.at-at):]
		if left := p.end - max(at, p.at); left < int64(len(dst)) {
			dst = dst[:max(0, left)]
		}
		for len(dst) > 0 && !p.done {
			got, ok := p.s.Stream(b.one[:len(dst)])
			for j, f := range b.one[:got] {
				dst[j][0] += f[0]
				dst[j][1] += f[1]
			}
			dst = dst[got:]
			p.done = !ok
		}
		p.done = p.done || p.end <= end
	}
}

// look finds the depths at the end of a block of n frames.
func (b *bus) look(n int) {
	for i := range b.dips {
		b.dipsFront[i] = b.dips[i][:n]
	}
	b.ahead.Next(b.broad[:n], b.dipsFront...)
	b.duckDB, b.dip = b.broad[n-1], 0
	for i := range b.dips {
		b.dip = max(b.dip, b.dips[i][n-1])
	}
}

// heldS returns for how long the engine was asked for revs it does not have.
func (b *bus) heldS() float64 {
	var sum float64
	for _, n := range b.notes {
		sum += n.HeldS()
	}
	return sum
}

// Bus says what became of a category.
type Bus struct {
	Category string
	Yields   bool      // the plan lets it yield to something that speaks here
	Cost     duck.Cost // what the ducks took
}
