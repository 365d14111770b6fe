package listen

import (
	"context"
	"errors"
	"fmt"
	"math"

	"tachbench/mixplan"
	"tachbench/mixplan/scene"
	"tachbench/synth/revs"
)

// fader is what a hand does to one category.
type fader struct {
	category   string
	db         float64
	mute, solo bool
}

// wish is what the controls ask for. Stream takes the whole of it at the
// beginning of a block.
type wish struct {
	drive                        Drive
	lever, rpm, load             float64
	loop, planned, hall, cabinet bool
	silenced                     bool
	volumeDB, ceilingDB          float64
	faders                       []fader
	silences, resets             int
	stops                        int // counts what ends a scene, so that one being made ready does not start after it

	plan  *mixplan.Plan
	plays int   // counts calls of Play
	show  *show // nil: no scene
	first *lap  // of show, ready to play or a little behind; nil: none ready
	idle  *show // without a scene, under the same plan
}

func newWish(o Options, categories []string) wish {
	w := wish{volumeDB: o.VolumeDB, ceilingDB: o.CeilingDBTP, rpm: 1000}
	if e := o.Sheet.Engine; e != nil {
		w.rpm, w.load = e.IdleRPM, revs.IdleLoad
	}
	for _, c := range categories {
		w.faders = append(w.faders, fader{category: c})
	}
	return w
}

// into fills in the part of a snapshot that the controls know.
func (w *wish) into(s *Snapshot) {
	s.Looping, s.Planned, s.Hall, s.Cabinet, s.Silenced = w.loop, w.planned, w.hall, w.cabinet, w.silenced
	s.Drive, s.Lever, s.VolumeDB, s.CeilingDBTP, s.HasPlan = w.drive, w.lever, w.volumeDB, w.ceilingDB, w.plan != nil
	s.Playing = false
	buses := make([]BusState, len(w.faders))
	copy(buses, s.Buses)
	for i, f := range w.faders {
		buses[i].Category, buses[i].LevelDB, buses[i].Mute, buses[i].Solo = f.category, f.db, f.mute, f.solo
	}
	s.Buses = buses
}

// change applies a control.
func (b *Bench) change(f func(*wish)) {
	b.mu.Lock()
	f(&b.wish)
	b.mu.Unlock()
}

// Drive says who works the engine from now on.
func (b *Bench) Drive(d Drive) {
	b.change(func(w *wish) {
		w.drive = d
		if d != ByScene {
			w.silenced = false
		}
	})
}

// Lever moves the lever, 0 shut .. 1 full.
func (b *Bench) Lever(pressed float64) {
	if math.IsNaN(pressed) {
		return
	}
	b.change(func(w *wish) { w.lever = clampLoad(pressed) })
}

// Slide moves the sliders: revs and load, 0..1.
func (b *Bench) Slide(rpm, load float64) {
	b.change(func(w *wish) {
		if rpm > 0 && !math.IsInf(rpm, 1) {
			w.rpm = rpm
		}
		if !math.IsNaN(load) {
			w.load = clampLoad(load)
		}
	})
}

// Play makes a scene ready and then starts it, from its beginning, within one
// block; a scene that plays fades out within 30 ms. It takes a moment: with a
// plan, the loudness of the whole scene is measured plain and planned, with all
// faders at 0 dB and the scene's own engine, so that both are heard equally
// loud. The error is that of ctx, or says in one line why the scene cannot be
// played here. Stop or Silence in the meantime means that it does not start.
func (b *Bench) Play(ctx context.Context, t *scene.Timeline, loop bool) error {
	if t.RateHz != b.rateHz {
		return fmt.Errorf("the scene was laid out for %d Hz, and the machine plays %d Hz", t.RateHz, b.rateHz)
	}
	if t.HasEngine() && b.opt.Engine == nil {
		return errors.New("the scene has an engine, and there is none to play it")
	}
	b.mu.Lock()
	stops := b.wish.stops
	b.mu.Unlock()
	b.prepare.Lock()
	defer b.prepare.Unlock()
	b.mu.Lock()
	b.wish.plays++
	play, plan := b.wish.plays, b.wish.plan
	b.mu.Unlock()
	s, err := b.newShow(ctx, t, plan, play)
	if err != nil {
		return err
	}
	first := s.lap()
	if err := ctx.Err(); err != nil {
		return err
	}
	b.change(func(w *wish) {
		if w.stops == stops {
			w.show, w.first, w.loop, w.silenced = s, first, loop, false
		}
	})
	return nil
}

// Stop ends the scene.
func (b *Bench) Stop() { b.change(func(w *wish) { w.show, w.first, w.stops = nil, nil, w.stops+1 }) }

// Loop says whether the scene begins again at its end.
func (b *Bench) Loop(on bool) { b.change(func(w *wish) { w.loop = on }) }

// nearS is how far a scene under a new plan may be behind the one that plays;
// Stream makes up for it in no time.
const nearS = 0.02

// SetPlan gives the bench its plan, or takes it away with nil. A scene that
// plays goes on and turns to the new plan once it is ready, which takes a
// moment, see Play. The plan is not to be changed any more.
func (b *Bench) SetPlan(ctx context.Context, p *mixplan.Plan) error {
	b.prepare.Lock()
	defer b.prepare.Unlock()
	idle, err := b.newShow(ctx, nil, p, 0)
	if err != nil {
		return err
	}
	b.mu.Lock()
	now := b.wish.show
	if now != nil && now.play == b.ended {
		now = nil
	}
	b.mu.Unlock()
	var next *show
	var first *lap
	if now != nil {
		if next, err = b.newShow(ctx, now.timeline, p, now.play); err != nil {
			return err
		}
		first = next.lap()
		for { // playing on is some hundred times faster than being heard
			to := b.position(now.play)
			if to-first.pos() <= int64(nearS*float64(b.rateHz)) {
				break
			}
			if err := first.skip(ctx, to); err != nil {
				return err
			}
		}
	}
	if err := ctx.Err(); err != nil {
		return err
	}
	b.change(func(w *wish) {
		w.plan, w.idle = p, idle
		if next != nil && w.show == now {
			w.show, w.first = next, first
		}
	})
	return nil
}

// position returns the next frame of a Play, as far as is known.
func (b *Bench) position(play int) int64 {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.play != play {
		return 0
	}
	return int64(b.shown.PositionS * float64(b.rateHz))
}

// Planned switches between the machine as planned and as it is.
func (b *Bench) Planned(on bool) { b.change(func(w *wish) { w.planned = on }) }

func (b *Bench) bus(category string, f func(*fader)) {
	b.change(func(w *wish) {
		for i := range w.faders {
			if w.faders[i].category == category {
				f(&w.faders[i])
			}
		}
	})
}

// Fader sets a category's level, -60 (shut) .. 12 dB. Unknown categories are
// passed over.
func (b *Bench) Fader(category string, db float64) {
	if math.IsNaN(db) {
		return
	}
	b.bus(category, func(f *fader) { f.db = math.Max(LowestFaderDB, math.Min(HighestFaderDB, db)) })
}

// Range of a fader.
const (
	LowestFaderDB  = -60 // shut
	HighestFaderDB = 12
)

// Mute shuts a category.
func (b *Bench) Mute(category string, on bool) { b.bus(category, func(f *fader) { f.mute = on }) }

// Solo shuts all categories without it, as long as any has it.
func (b *Bench) Solo(category string, on bool) { b.bus(category, func(f *fader) { f.solo = on }) }

// InHall puts the machine into its hall.
func (b *Bench) InHall(on bool) {
	b.change(func(w *wish) {
		w.hall = on
		w.silenced = w.silenced && !on
	})
}

// ThroughCabinet plays the machine through its cabinet speaker.
func (b *Bench) ThroughCabinet(on bool) { b.change(func(w *wish) { w.cabinet = on }) }

// Volume sets the headphone volume, -60 (silence) .. 0 dB.
func (b *Bench) Volume(db float64) {
	if math.IsNaN(db) {
		return
	}
	b.change(func(w *wish) { w.volumeDB = math.Max(LowestVolumeDB, math.Min(0, db)) })
}

// Silence makes everything silent within 10 ms: the scene stops, the lever is
// released, engine and hall are off. The next Play, Drive(ByLever),
// Drive(BySlider) or InHall(true) starts slowly from silence.
func (b *Bench) Silence() {
	b.change(func(w *wish) {
		w.silences++
		w.stops++
		w.silenced, w.show, w.first, w.hall, w.lever, w.drive = true, nil, nil, false, 0, ByScene
	})
}

// ResetHolds forgets peak hold and clips.
func (b *Bench) ResetHolds() { b.change(func(w *wish) { w.resets++ }) }

func clampLoad(v float64) float64 { return math.Max(0, math.Min(1, v)) }
