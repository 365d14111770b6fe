package render

import (
	"errors"
	"math"

	"tachbench/mixplan"
	"tachbench/mixplan/engine"
	"tachbench/mixplan/scene"
	"tachbench/samples"
)

// StreamOptions of a Stream. The zero value plays plainly.
type StreamOptions struct {
	Plan   *mixplan.Plan // nil: no trims, no ducks, no bus gain
	Seed   uint64        // of the engine's choice of cycles
	GainDB float64       // in Master, beside the plan's bus gain

	Channels  int      // 1 or 2; 0: as many as Channels says
	MaxFrames int      // the most that Next is asked for; 0: 4096
	Also      []string // categories that have a bus although the scene has nothing in them

	// Insert, if not nil, may change what a category plays, trims applied,
	// before its ducks take their part: another engine in place of the
	// scene's, for instance. One slice a channel.
	Insert func(category string, block [][]float64)

	// Depths makes Next say how deep the ducks are; it costs a little.
	Depths bool
}

// Block is what one category plays in the frames of a Next, trims and ducks
// applied, before Master.
type Block struct {
	Category string
	Sound    [][]float64 // one slice a channel, valid until the next Next

	// What the ducks take at the last frame, dB, 0 or more, if
	// StreamOptions.Depths is set: from the whole category, and beyond that
	// from its deepest band.
	DuckDB, DipDB float64
}

// Stream plays a scene from its beginning, block by block. It belongs to one
// goroutine and takes no new memory while it plays.
type Stream struct {
	timeline *scene.Timeline
	channels int
	buses    []*bus
	blocks   []Block
	master   master
	insert   func(string, [][]float64)
	at       int64 // the next frame
	last     int64 // the first frame of the last block
}

// NewStream returns a scene at its first frame. It is an error if the scene
// has an engine and eng is nil. The timeline is not changed; several streams of
// it may play at once.
func NewStream(t *scene.Timeline, eng *engine.Engine, o StreamOptions) (*Stream, error) {
	if t.HasEngine() && eng == nil {
		return nil, errors.New("the scene has an engine, and there is none to play it")
	}
	if o.MaxFrames <= 0 {
		o.MaxFrames = defaultBlock
	}
	if o.Channels == 0 {
		o.Channels = Channels(t, eng)
	}
	s := &Stream{timeline: t, channels: o.Channels, insert: o.Insert}
	gain := o.GainDB
	if o.Plan != nil {
		gain += o.Plan.BusGainDB
	}
	s.master = master{gain: samples.DBAmplitude(gain), frames: t.Frames, fade: endFadeS * float64(t.RateHz)}
	have := map[string]bool{}
	for _, c := range append(t.Categories(), o.Also...) {
		if !have[c] {
			have[c] = true
			s.buses = append(s.buses, newBus(c, t, eng, o))
			s.blocks = append(s.blocks, Block{Category: c})
		}
	}
	return s, nil
}

// Position returns the next frame.
func (s *Stream) Position() int64 { return s.at }

// Next plays the next n frames, at most StreamOptions.MaxFrames: a block for
// each category, in the order of the sum. Beyond the scene's end there is
// silence, and ducks come back as they do.
func (s *Stream) Next(n int) []Block {
	for i, b := range s.buses {
		k := &s.blocks[i]
		k.Sound = b.next(n, s.at, s.insert)
		k.DuckDB, k.DipDB = b.duckDB, b.dip
	}
	s.last = s.at
	s.at += int64(n)
	return s.blocks
}

// Fade fills gain with the fade of the scene's end alone for the frames that
// Next gives next; 0 beyond it.
func (s *Stream) Fade(gain []float64) {
	master{gain: 1, frames: s.master.frames, fade: s.master.fade}.gains(gain, s.at)
}

// Master fills gain with what everything of the last block goes through at
// last, frame by frame: the bus gain, and the fade of the scene's end.
func (s *Stream) Master(gain []float64) { s.master.gains(gain, s.last) }

// master is what everything goes through at last.
type master struct {
	gain   float64
	frames int64
	fade   float64 // frames
}

func (m master) gains(dst []float64, at int64) {
	for i := range dst {
		g := m.gain
		if left := float64(m.frames - 1 - at - int64(i)); left < m.fade {
			g *= 0.5 - 0.5*math.Cos(math.Pi*math.Max(0, left)/m.fade)
		}
		dst[i] = g
	}
}
