package render

import (
	"github.com/gopxl/beep/v2"
	"github.com/gopxl/beep/v2/effects"
	"github.com/gopxl/beep/v2/generators"

	"tachbench/mixplan/duck"
	"tachbench/mixplan/engine"
	"tachbench/mixplan/scene"
	"tachbench/synth/curve"
	"tachbench/synth/note"
)

// bus is one category: its streams added up, and its ducks.
type bus struct {
	category string
	mixer    beep.Mixer
	course   *duck.Course
	notes    []*note.Note
	sink     Sink
	raw      [][2]float64
	block    [][]float64
}

// newBus puts the events of a category in their places.
func newBus(category string, t *scene.Timeline, eng *engine.Engine, o Options, channels, blockFrames int) *bus {
	b := &bus{category: category, raw: make([][2]float64, blockFrames)}
	for range channels {
		b.block = append(b.block, make([]float64, blockFrames))
	}
	for _, e := range t.Events {
		if e.Category != category || e.End <= e.At {
			continue
		}
		length := e.End - e.At
		var s beep.Streamer
		if e.Curve != nil {
			// A curve remembers where it was read last; this render needs its own.
			own, err := curve.New(e.Curve.Points())
			if err != nil {
				panic("render: " + err.Error())
			}
			n := note.New(eng.Bank, note.Options{Seed: o.Seed, Source: own, Frames: length})
			b.notes = append(b.notes, n)
			s = n
		} else {
			s = beep.Take(int(length), voice(e.Clip, e.Loop, t.RateHz))
		}
		if trim := o.Plan.TrimDB(category, e.Path); trim != 0 {
			s = &effects.Volume{Streamer: s, Base: 10, Volume: trim / 20}
		}
		b.mixer.Add(beep.Seq(generators.Silence(int(e.At)), s, generators.Silence(-1)))
	}
	b.course = duck.New(t.RateHz, category, o.Plan.Yielding(category))
	for _, e := range t.Events {
		for _, a := range e.Active {
			b.course.Speak(e.Category, a.FromS, a.ToS)
		}
	}
	return b
}

// next makes the next n frames of the bus, before the bus gain.
func (b *bus) next(n int) [][]float64 {
	raw := b.raw[:n]
	b.mixer.Stream(raw) // never ends: every stream is followed by silence
	out := front(b.block, 0, n)
	for c := range out {
		for i, f := range raw {
			out[c][i] = f[c]
		}
	}
	if !b.course.Idle() {
		b.course.Apply(out)
	}
	return out
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
