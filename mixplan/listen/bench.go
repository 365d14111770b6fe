package listen

import (
	"context"
	"errors"
	"fmt"
	"sync"

	"github.com/gopxl/beep/v2"

	"tachbench/mixplan"
	"tachbench/mixplan/ear"
	"tachbench/mixplan/engine"
	"tachbench/mixplan/scene"
	"tachbench/samples/sheet"
)

// What a bench starts with. A headphone at full scale reaches well over 100 dB
// SPL, so it starts soft and has a ceiling (our judgement, no source).
const (
	StartVolumeDB    = -30
	StartCeilingDBTP = -12
	LowestVolumeDB   = -60
)

// Options of a bench.
type Options struct {
	Sheet       *sheet.Sheet
	Engine      *engine.Engine // nil: no engine
	Chain       *ear.Chain     // never nil
	Seed        uint64         // of cycles, of the idle's hunting and of the hall
	VolumeDB    float64        // headphone volume at the start, -60..0; 0 means StartVolumeDB
	CeilingDBTP float64        // nothing leaves louder; 0 means StartCeilingDBTP
}

// Drive says who works the engine.
type Drive int

const (
	ByScene  Drive = iota // the scene's curve; silent without one
	ByLever               // a hand, through the crank model
	BySlider              // revs and load as told
)

func (d Drive) String() string {
	switch d {
	case ByLever:
		return "lever"
	case BySlider:
		return "slider"
	}
	return "scene"
}

var _ beep.Streamer = (*Bench)(nil)

// Bench is the machine at somebody's desk. Stream belongs to one goroutine, all
// else may be called from any.
type Bench struct {
	opt    Options
	rateHz int
	desk   *desk // of the goroutine that calls Stream

	prepare sync.Mutex // held while a scene or a plan is made ready; guards kept
	kept    kept

	mu    sync.Mutex // guards wish and shown, briefly
	wish  wish
	shown Snapshot
	play  int // which Play shown is about
	ended int // the Play whose scene has come to its end
}

// New returns a silent bench. The error says in one line what of the sheet
// cannot be used.
func New(o Options) (*Bench, error) {
	if o.Sheet == nil || o.Chain == nil {
		panic("listen: New needs a sheet and a chain")
	}
	if o.Engine != nil && o.Engine.Bank.RateHz != o.Sheet.SampleRateHz {
		return nil, errors.New("the engine was prepared for another sample rate than the sheet's")
	}
	if o.VolumeDB == 0 {
		o.VolumeDB = StartVolumeDB
	}
	if o.CeilingDBTP == 0 {
		o.CeilingDBTP = StartCeilingDBTP
	}
	if !(o.VolumeDB >= LowestVolumeDB && o.VolumeDB <= 0) {
		return nil, fmt.Errorf("the headphone volume must be %d to 0 dB, not %g", LowestVolumeDB, o.VolumeDB)
	}
	if !(o.CeilingDBTP >= LowestVolumeDB && o.CeilingDBTP <= 0) {
		return nil, fmt.Errorf("the ceiling must be %d to 0 dBTP, not %g", LowestVolumeDB, o.CeilingDBTP)
	}
	b := &Bench{opt: o, rateHz: o.Sheet.SampleRateHz, shown: nothingYet()}
	b.shown.HallDB = o.Chain.Hall
	b.kept = kept{loud: map[loudKey]float64{}, voice: map[*scene.Clip]voice{}}
	names := categories(o.Sheet, o.Sheet.Engine != nil || o.Engine != nil)
	b.wish = newWish(o, names)
	b.shown.Buses = make([]BusState, len(names))
	idle, err := b.newShow(context.Background(), nil, nil, 0)
	if err != nil {
		return nil, err
	}
	b.wish.idle = idle
	if b.desk, err = newDesk(o, b.rateHz, names); err != nil {
		return nil, err
	}
	b.desk.cur = idle.lap()
	b.desk.cur.desk = b.desk
	return b, nil
}

// categories returns the buses of a sheet: its categories, the engine if
// there is one, and the sounds of scenes that are in no category.
func categories(sh *sheet.Sheet, withEngine bool) []string {
	var out []string
	home := map[string]bool{}
	for _, c := range sh.Categories {
		out = append(out, c.Name)
		for _, f := range c.Files {
			home[f.Rel] = true
		}
		withEngine = withEngine && c.Name != mixplan.Engine
	}
	if withEngine {
		out = append(out, mixplan.Engine)
	}
	for _, sc := range sh.Scenes {
		for _, q := range sc.Cues {
			if q.Sound != nil && !home[q.Sound.Rel] {
				return append(out, scene.Uncategorised)
			}
		}
	}
	return out
}

// RateHz returns the frames per second, those of the sheet.
func (b *Bench) RateHz() int { return b.rateHz }

// Err returns nil: nothing can fail once it sounds.
func (b *Bench) Err() error { return nil }

// Stream fills samples; see beep.Streamer. It never ends. What the controls ask
// for is heard from the first of these samples on.
func (b *Bench) Stream(samples [][2]float64) (n int, ok bool) {
	d := b.desk
	b.mu.Lock()
	faders := d.want.faders
	d.want = b.wish
	d.want.faders = faders
	copy(faders, b.wish.faders)
	b.mu.Unlock()
	d.stream(samples)
	b.mu.Lock()
	d.show(&b.shown)
	if d.cur.scene() {
		b.play = d.cur.play
	}
	b.ended = d.ended
	b.mu.Unlock()
	return len(samples), true
}

// Snapshot returns the present state, a copy.
func (b *Bench) Snapshot() Snapshot {
	b.mu.Lock()
	defer b.mu.Unlock()
	s := b.shown
	b.wish.into(&s)
	if w := b.wish.show; w != nil {
		s.Scene, s.LengthS = w.timeline.Name, float64(w.timeline.Frames)/float64(b.rateHz)
		s.Playing = w.play != b.ended
		if w.play != b.play { // not begun yet
			s.PositionS = 0
		}
	}
	return s
}
