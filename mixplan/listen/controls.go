package listen

import (
	"context"
	"errors"
	"math"

	"tachbench/mixplan"
	"tachbench/mixplan/scene"
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
	timeline                     *scene.Timeline
	plan                         *mixplan.Plan
	silences, resets             int
}

func newWish(o Options) wish {
	w := wish{volumeDB: o.VolumeDB, ceilingDB: o.CeilingDBTP}
	for _, c := range categories(o.Sheet, o.Sheet.Engine != nil || o.Engine != nil) {
		w.faders = append(w.faders, fader{category: c})
	}
	return w
}

// into fills in the part of a snapshot that the controls know.
func (w *wish) into(s Snapshot) Snapshot {
	s.Looping, s.Planned, s.Hall, s.Cabinet, s.Silenced = w.loop, w.planned, w.hall, w.cabinet, w.silenced
	s.Drive, s.Lever, s.VolumeDB, s.CeilingDBTP, s.HasPlan = w.drive, w.lever, w.volumeDB, w.ceilingDB, w.plan != nil
	buses := make([]BusState, len(w.faders))
	copy(buses, s.Buses)
	for i, f := range w.faders {
		buses[i].Category, buses[i].LevelDB, buses[i].Mute, buses[i].Solo = f.category, f.db, f.mute, f.solo
	}
	s.Buses = buses
	return s
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

// Play starts a scene.
func (b *Bench) Play(ctx context.Context, t *scene.Timeline, loop bool) error {
	if t.RateHz != b.rateHz {
		return errors.New("the scene was laid out for another sample rate than the machine's")
	}
	if t.HasEngine() && b.opt.Engine == nil {
		return errors.New("the scene has an engine, and there is none to play it")
	}
	if err := ctx.Err(); err != nil {
		return err
	}
	b.change(func(w *wish) { w.timeline, w.loop, w.silenced = t, loop, false })
	return nil
}

// Stop ends the scene.
func (b *Bench) Stop() { b.change(func(w *wish) { w.timeline = nil }) }

// Loop says whether the scene begins again at its end.
func (b *Bench) Loop(on bool) { b.change(func(w *wish) { w.loop = on }) }

// SetPlan gives the bench its plan, or takes it away with nil.
func (b *Bench) SetPlan(ctx context.Context, p *mixplan.Plan) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	b.change(func(w *wish) { w.plan = p })
	return nil
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

// Volume sets the headphone volume, -60..0 dB.
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
		w.silenced, w.timeline, w.hall, w.lever, w.drive = true, nil, false, 0, ByScene
	})
}

// ResetHolds forgets peak hold and clips.
func (b *Bench) ResetHolds() { b.change(func(w *wish) { w.resets++ }) }
