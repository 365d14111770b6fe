package headroom

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"runtime"
	"sync"

	"tachbench/mixplan"
	"tachbench/mixplan/engine"
	"tachbench/mixplan/meet"
	"tachbench/mixplan/scene"
	"tachbench/samples"
	"tachbench/samples/resample"
	"tachbench/samples/sheet"
	"tachbench/synth/curve"
)

// Options of a simulation.
type Options struct {
	Seed    uint64
	Minutes int                // of play, 0 means DefaultMinutes
	PerMin  map[string]float64 // arrivals a minute by category; else the scenes', else the habits
	Workers int
}

const (
	DefaultMinutes = 30
	MergeS         = 0.25
	blockS         = 0.010
	mostClips      = 64 // of a category, drawn if there are more
)

// Result is the play's peaks.
type Result struct {
	Minutes int
	Rates   []Rate
	Peaks   []float32 // highest sample of every block, re full scale, without the plan's bus gain
	blocks  int       // blocks a minute
}

// Rate says how often sounds of a category were played.
type Rate struct {
	Category string
	PerMin   float64
	From     string // "scenes", "given" or "habit"; "always" for beds and engine
}

// Simulate plays. eng may be nil. The plan's bus gain is left out; see
// Result.At. Files are read from the sheet.
func Simulate(ctx context.Context, sh *sheet.Sheet, eng *engine.Engine, plan *mixplan.Plan, o Options) (*Result, error) {
	res := &Result{Minutes: cmp.Or(o.Minutes, DefaultMinutes)}
	habits, err := res.habits(ctx, sh, eng != nil, plan, o)
	if err != nil {
		return nil, err
	}
	if eng != nil {
		habits = append(habits, engineHabit(sh, eng, plan, o))
		res.Rates = append(res.Rates, Rate{mixplan.Engine, 0, "always"})
	}
	channels := 1
	for _, h := range habits {
		for _, c := range h.clips {
			channels = max(channels, len(c.chans))
		}
	}
	n := 60 * sh.SampleRateHz
	block := max(1, int(math.Round(blockS*float64(sh.SampleRateHz))))
	res.blocks = n / block
	minutes := make([][]float32, res.Minutes)
	workers := cmp.Or(o.Workers, runtime.GOMAXPROCS(0))
	next := make(chan int)
	var wg sync.WaitGroup
	for range min(workers, res.Minutes) {
		wg.Go(func() {
			for m := range next {
				if ctx.Err() != nil {
					continue
				}
				r := rand.New(rand.NewPCG(o.Seed, uint64(m)+1))
				minutes[m] = mixed(draw(r, habits, sh.SampleRateHz, n, plan), channels, n, block, 1)
			}
		})
	}
	for m := range minutes {
		next <- m
	}
	close(next)
	wg.Wait()
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	for _, p := range minutes {
		res.Peaks = append(res.Peaks, p...)
	}
	return res, nil
}

// habits reads the files and finds out how often they are played.
func (res *Result) habits(ctx context.Context, sh *sheet.Sheet, note bool, plan *mixplan.Plan, o Options) ([]habit, error) {
	cues, lengthS := map[string]int{}, 0.0
	home := map[string]string{}
	for _, c := range sh.Categories {
		for _, f := range c.Files {
			home[f.Rel] = c.Name
		}
	}
	for _, sc := range sh.Scenes {
		lengthS += sc.LengthS
		for _, q := range sc.Cues {
			if q.Sound != nil && !q.Loop {
				cues[home[q.Sound.Rel]]++
			}
		}
	}
	lib := scene.NewLibrary(sh.SampleRateHz)
	var out []habit
	for _, c := range sh.Categories {
		if len(c.Files) == 0 || c.Name == mixplan.Engine && note {
			continue
		}
		h := habit{category: c.Name, queue: c.Name == meet.Callout}
		rate := Rate{Category: c.Name, PerMin: EventsPerMin, From: "habit"}
		if h.queue {
			rate.PerMin = CalloutsPerMin
		}
		if n := cues[c.Name]; n > 0 {
			rate.PerMin, rate.From = 60*float64(n)/lengthS, "scenes"
		}
		if v, ok := o.PerMin[c.Name]; ok {
			rate.PerMin, rate.From = v, "given"
		}
		h.perMin = rate.PerMin
		files := c.Files
		if len(files) > mostClips {
			r := rand.New(rand.NewPCG(o.Seed, 0))
			files = make([]sheet.File, mostClips)
			for i, k := range r.Perm(len(c.Files))[:mostClips] {
				files[i] = c.Files[k]
			}
		}
		clips := make([]*clip, len(files))
		errs := make([]error, len(files))
		var wg sync.WaitGroup
		room := make(chan struct{}, cmp.Or(o.Workers, runtime.GOMAXPROCS(0)))
		for i, f := range files {
			room <- struct{}{}
			wg.Go(func() {
				defer func() { <-room }()
				if ctx.Err() == nil {
					clips[i], errs[i] = read(lib, f, plan.TrimDB(c.Name, f.Rel), sh.SampleRateHz)
				}
			})
		}
		wg.Wait()
		if err := errors.Join(append(errs, ctx.Err())...); err != nil {
			return nil, err
		}
		events := false
		for _, k := range clips {
			if k != nil {
				h.clips = append(h.clips, k)
				events = events || !k.bed
			}
		}
		if !events {
			rate.PerMin, rate.From = 0, "always"
		}
		res.Rates = append(res.Rates, rate)
		out = append(out, h)
	}
	return out, nil
}

func read(lib *scene.Library, f sheet.File, trimDB float64, rateHz int) (*clip, error) {
	c, err := lib.Clip(f.Path)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", f.Rel, err)
	}
	s := c.Sound
	if s.RateHz != rateHz {
		s = resample.Sound(s, rateHz)
	}
	if s.Frames() == 0 {
		return nil, nil
	}
	return trimmed(s, c.Active, trimDB, s.DurationS() >= meet.BedS), nil
}

// engineMinutes of the note are rendered; a minute of play begins anywhere in
// one of them.
const engineMinutes = 4

func engineHabit(sh *sheet.Sheet, eng *engine.Engine, plan *mixplan.Plan, o Options) habit {
	h := habit{category: mixplan.Engine, clips: make([]*clip, engineMinutes)}
	var wg sync.WaitGroup
	room := make(chan struct{}, cmp.Or(o.Workers, runtime.GOMAXPROCS(0)))
	for i := range h.clips {
		room <- struct{}{}
		wg.Go(func() {
			defer func() { <-room }()
			r := rand.New(rand.NewPCG(o.Seed, 1<<32+uint64(i)))
			t := eng.Render(lever(r, sh.Engine.IdleRPM, sh.Engine.RedlineRPM), r.Uint64())
			// The machine plays the note without the render's own turning down.
			h.clips[i] = trimmed(t.Sound, []scene.Span{{FromS: 0, ToS: t.Sound.DurationS()}}, plan.TrimDB(mixplan.Engine, "")-t.GainDB, true)
		})
	}
	wg.Wait()
	return h
}

// lever is a minute of revs under a lever that is pressed and let go.
func lever(r *rand.Rand, idle, top float64) *curve.Curve {
	points := []curve.Point{{TimeS: 0, RPM: idle, Load: 0}}
	for at := 0.0; at < 60; {
		rpm, last := idle+(top-idle)*r.Float64(), points[len(points)-1].RPM
		load := 1.0
		if rpm < last {
			load = 0
		}
		ramp, hold := 0.2+1.2*math.Abs(rpm-last)/(top-idle), 0.5+3*r.Float64()
		points = append(points, curve.Point{TimeS: at + ramp, RPM: rpm, Load: load}, curve.Point{TimeS: at + ramp + hold, RPM: rpm, Load: 1})
		at += ramp + hold
	}
	c, err := curve.New(points)
	if err != nil {
		panic("headroom: " + err.Error())
	}
	return c
}

// Overruns is what a gain of the sum leads to.
type Overruns struct {
	GainDB        float64
	Count         int
	PerHour       float64
	LoPerHour     float64 // exact 95 % interval
	HiPerHour     float64
	BlocksPercent float64 // share of time in 10 ms blocks
}

// At counts the overruns over full scale with a gain on everything.
func (res *Result) At(gainDB float64) Overruns {
	limit := float32(samples.DBAmplitude(-gainDB))
	merge := int(math.Round(MergeS / blockS))
	o := Overruns{GainDB: gainDB}
	over := 0
	last := -merge - 1
	for i, p := range res.Peaks {
		if res.blocks > 0 && i%res.blocks == 0 {
			last = -merge - 1 + i // minutes do not follow each other
		}
		if p <= limit {
			continue
		}
		over++
		if i-last > merge {
			o.Count++
		}
		last = i
	}
	hours := float64(res.Minutes) / 60
	lo, hi := Interval(o.Count)
	o.PerHour, o.LoPerHour, o.HiPerHour = float64(o.Count)/hours, lo/hours, hi/hours
	if len(res.Peaks) > 0 {
		o.BlocksPercent = 100 * float64(over) / float64(len(res.Peaks))
	}
	return o
}

// BusGainDB returns the largest gain of the sum, 0 at most, in steps of 0.1
// dB, with which no more than perHour overruns an hour were seen.
func (res *Result) BusGainDB(perHour float64) float64 {
	for tenth := 0; tenth > -600; tenth-- {
		if g := float64(tenth) / 10; res.At(g).PerHour <= perHour {
			return g
		}
	}
	return -60
}
