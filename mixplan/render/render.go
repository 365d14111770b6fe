package render

import (
	"context"

	"tachbench/mixplan"
	"tachbench/mixplan/engine"
	"tachbench/mixplan/scene"
	"tachbench/samples"
)

// Sink takes the sound, block by block: one slice a channel, all of one
// length, valid during the call only.
type Sink interface {
	Write(block [][]float64) error
}

// SinkFunc is a function as a Sink.
type SinkFunc func(block [][]float64) error

// Write calls f.
func (f SinkFunc) Write(block [][]float64) error { return f(block) }

// Options of a render. The zero value renders plainly, and throws it away.
type Options struct {
	Plan   *mixplan.Plan // nil: no trims, no ducks, no bus gain
	Seed   uint64        // of the engine's choice of cycles
	GainDB float64       // on everything, stems too, beside the plan's bus gain

	Mix  Sink                       // the sum; nil: nobody
	Stem func(category string) Sink // each category; nil, or nil from it: nobody

	BlockFrames int // frames a block, 1..1<<20; 0: 4096. No influence on the sound
}

// Result is what a render has to tell.
type Result struct {
	RateHz   int
	Channels int
	Frames   int64
	Buses    []Bus   // in the order of the sum
	HeldS    float64 // for how long a curve asked for revs beyond the recordings
}

const (
	defaultBlock = 4096
	endFadeS     = 0.010
)

// Channels returns how many channels a render has: 2, or 1 if everything is
// mono. eng may be nil for a scene without an engine.
func Channels(t *scene.Timeline, eng *engine.Engine) int {
	if t.Stereo() || t.HasEngine() && eng != nil && eng.Bank.Channels == 2 {
		return 2
	}
	return 1
}

// Run renders a scene. It returns the first error of a sink, the error of ctx,
// or an error if the scene has an engine and eng is nil. The timeline is not
// changed; several renders of it may run at once.
func Run(ctx context.Context, t *scene.Timeline, eng *engine.Engine, o Options) (*Result, error) {
	if o.BlockFrames <= 0 {
		o.BlockFrames = defaultBlock
	}
	size := int(min(int64(o.BlockFrames), max(1, t.Frames)))
	st, err := NewStream(t, eng, StreamOptions{Plan: o.Plan, Seed: o.Seed, GainDB: o.GainDB, MaxFrames: size})
	if err != nil {
		return nil, err
	}
	r := &Result{RateHz: t.RateHz, Channels: st.channels, Frames: t.Frames}
	if o.Stem != nil {
		for _, b := range st.buses {
			b.sink = o.Stem(b.category)
		}
	}
	mix := make([][]float64, r.Channels)
	for c := range mix {
		mix[c] = make([]float64, size)
	}
	gain := make([]float64, size)
	for at := int64(0); at < t.Frames; at += int64(size) {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		n := int(min(int64(size), t.Frames-at))
		sum := front(mix, 0, n)
		for c := range sum {
			clear(sum[c])
		}
		blocks := st.Next(n)
		st.Master(gain[:n])
		for k, b := range st.buses {
			block := blocks[k].Sound
			for c := range block {
				x := block[c]
				for i, g := range gain[:n] {
					x[i] *= g
				}
			}
			if b.sink != nil {
				if err := b.sink.Write(block); err != nil {
					return nil, err
				}
			}
			for c := range sum {
				for i, v := range block[c] {
					sum[c][i] += v
				}
			}
		}
		if o.Mix != nil {
			if err := o.Mix.Write(sum); err != nil {
				return nil, err
			}
		}
	}
	for _, b := range st.buses {
		r.Buses = append(r.Buses, Bus{b.category, !b.course.Idle(), b.course.Cost()})
		r.HeldS += b.heldS()
	}
	return r, nil
}

// Sound renders a scene into memory: the mix, and the stems by category.
func Sound(ctx context.Context, t *scene.Timeline, eng *engine.Engine, o Options) (mix *samples.Sound, stems map[string]*samples.Sound, r *Result, err error) {
	ch := Channels(t, eng)
	collect := func() (*samples.Sound, Sink) {
		s := samples.NewSound(t.RateHz, ch, int(t.Frames))
		at := 0
		return s, SinkFunc(func(block [][]float64) error {
			for c := range block {
				copy(s.Chans[c][at:], block[c])
			}
			at += len(block[0])
			return nil
		})
	}
	stems = map[string]*samples.Sound{}
	mix, o.Mix = collect()
	o.Stem = func(category string) Sink {
		s, sink := collect()
		stems[category] = s
		return sink
	}
	r, err = Run(ctx, t, eng, o)
	if err != nil {
		return nil, nil, nil, err
	}
	return mix, stems, r, nil
}
