package meet

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"math"
	"runtime"
	"runtime/debug"
	"sync"

	"tachbench/analysis/sii"
	"tachbench/mixplan"
	"tachbench/mixplan/ear"
	"tachbench/mixplan/engine"
	"tachbench/mixplan/scene"
	"tachbench/samples"
	"tachbench/samples/file"
	"tachbench/samples/resample"
	"tachbench/samples/sheet"
	"tachbench/synth/curve"
)

// Callout is the category whose sounds have to be understood.
const Callout = "callout"

// Package is everything a machine plays, at the player's ear.
type Package struct {
	Title    string
	RateHz   int
	StepS    float64
	Chain    *ear.Chain
	Hall     sii.Masker // power per hertz
	Callouts []*Sound
	Buses    []Bus          // in the order of the sheet, the engine last
	Engine   *engine.Engine // nil without one
	Notes    []string       // what a person should know, whole sentences
}

// Bus is one category other than the callouts.
type Bus struct {
	Category string
	Sounds   []*Sound // of the engine: one a step, from idle upwards
}

// Options say how a package is read.
type Options struct {
	Seed     uint64
	RPMSteps int // of the engine; 0 means 24
	Workers  int // 0: all cores
	// Progress, if not nil, is told after each file; one call at a time.
	Progress func(done, all int)
}

// DefaultRPMSteps is how many steps the revs are taken in.
const DefaultRPMSteps = 24

// Read measures every sound of a sheet and the engine at each step. The error
// joins one line for each file that is no use; what could be read of a file
// that breaks off is used, with a note.
func Read(ctx context.Context, sh *sheet.Sheet, o Options) (*Package, error) {
	chain, err := ear.New(sh.Listening)
	if err != nil {
		return nil, sh.Errorf("listening", "%s", err)
	}
	if c := sh.Category(Callout); c == nil || len(c.Files) == 0 {
		return nil, sh.Errorf("category", "there is no category %q: nothing has to be understood, so there is nothing to plan", Callout)
	}
	p := &Package{Title: sh.Title, RateHz: sh.SampleRateHz, Chain: chain, Hall: chain.Hall.MaskerPower(),
		StepS: float64(StepFrames(sh.SampleRateHz)) / float64(sh.SampleRateHz)}
	p.Notes = append(p.Notes, chain.Assumed...)
	var files []*Sound
	var paths []string
	note := sh.Engine != nil && len(sh.Engine.Recordings) > 0
	for _, c := range sh.Categories {
		if c.Name == mixplan.Engine && note {
			continue // its files are not played, the note is
		}
		var sounds []*Sound
		for _, f := range c.Files {
			s := &Sound{Path: f.Rel, Category: c.Name, StandIn: f.StandIn, OneWord: f.OneWord}
			sounds, files, paths = append(sounds, s), append(files, s), append(paths, f.Abs)
		}
		if c.Name == Callout {
			p.Callouts = sounds
		} else if len(sounds) > 0 {
			p.Buses = append(p.Buses, Bus{c.Name, sounds})
		}
	}
	if err := p.readAll(ctx, files, paths, o); err != nil {
		return nil, err
	}
	for _, s := range files {
		if s.Unusable > 0 {
			p.Notes = append(p.Notes, fmt.Sprintf("%s holds %d broken samples, heard as silence.", s.Path, s.Unusable))
		}
	}
	if note {
		if err := p.readEngine(ctx, sh, o); err != nil {
			return nil, err
		}
	} else {
		p.Notes = append(p.Notes, "No engine recordings: no engine note in any meeting.")
	}
	if len(p.Buses) == 0 {
		p.Notes = append(p.Notes, "Nothing but callouts: they only meet the hall.")
	}
	return p, nil
}

// readAll measures files on all cores. Errors come in the order of the sheet.
func (p *Package) readAll(ctx context.Context, files []*Sound, paths []string, o Options) error {
	errs := make([]error, len(files))
	notes := make([]string, len(files))
	done := 0
	var mu sync.Mutex
	each(len(files), o.Workers, func() func(int) {
		a := NewAnalyser(p.RateHz)
		return func(i int) {
			if ctx.Err() != nil {
				return
			}
			notes[i], errs[i] = a.readOne(files[i], paths[i], p.Chain)
			if o.Progress != nil {
				mu.Lock()
				defer mu.Unlock()
				done++
				o.Progress(done, len(files))
			}
		}
	})
	if err := ctx.Err(); err != nil {
		return err
	}
	for _, n := range notes {
		if n != "" {
			p.Notes = append(p.Notes, n)
		}
	}
	return errors.Join(errs...)
}

func (a *Analyser) readOne(s *Sound, path string, chain *ear.Chain) (note string, err error) {
	src, _, err := file.Load(path)
	var cut *samples.TruncatedError
	if errors.As(err, &cut) && src != nil && src.Frames() > 0 {
		note, err = s.Path+" breaks off; what is there is used.", nil
	}
	if err != nil {
		return "", err
	}
	s.Spans = scene.Speaks(src)
	if src.RateHz != a.rateHz {
		if err := resample.Check(src.RateHz, a.rateHz); err != nil {
			return "", fmt.Errorf("%s: %w", path, err)
		}
		src = resample.Sound(src, a.rateHz)
	}
	if err := a.measure(s, src, chain, s.Category == Callout); err != nil {
		return "", fmt.Errorf("%s: %w", path, err)
	}
	return note, nil
}

// Each step of the revs is held this long; the first part is not used.
const (
	holdS   = 0.8
	settleS = 0.2
)

// Stairs returns the curve that holds each step of the revs from idle to
// redline once, and the steps.
func Stairs(idleRPM, redlineRPM float64, steps int) ([]curve.Point, []float64) {
	var points []curve.Point
	var rpm []float64
	for i := range steps {
		r := redlineRPM
		if steps > 1 {
			r = idleRPM + (redlineRPM-idleRPM)*float64(i)/float64(steps-1)
		}
		rpm = append(rpm, r)
		points = append(points, curve.Point{TimeS: float64(i) * holdS, RPM: r, Load: 1},
			curve.Point{TimeS: float64(i+1) * holdS, RPM: r, Load: 1})
	}
	return points, rpm
}

// readEngine renders the note in steps at full load: one render, so that all
// steps stand at one gain.
func (p *Package) readEngine(ctx context.Context, sh *sheet.Sheet, o Options) error {
	steps := cmp.Or(o.RPMSteps, DefaultRPMSteps)
	points, rpm := Stairs(sh.Engine.IdleRPM, sh.Engine.RedlineRPM, steps)
	c, err := curve.New(points)
	if err != nil {
		return err
	}
	e, warnings, err := engine.Load(sh)
	if err != nil {
		return err
	}
	if err := ctx.Err(); err != nil {
		return err
	}
	for _, w := range warnings {
		p.Notes = append(p.Notes, w.Error()+".")
	}
	p.Engine = e
	take := e.Render(c, o.Seed)
	if take.HeldS > 0.05 {
		p.Notes = append(p.Notes, "The recordings do not reach all of idle to redline; the note is held at their ends there.")
	}
	bus := Bus{Category: mixplan.Engine}
	errs := make([]error, steps)
	for i := range steps {
		bus.Sounds = append(bus.Sounds, &Sound{Path: fmt.Sprintf("engine at %.0f rpm", rpm[i]), Category: mixplan.Engine, RPM: rpm[i]})
	}
	each(steps, o.Workers, func() func(int) {
		a := NewAnalyser(p.RateHz)
		return func(i int) {
			at := func(s float64) int { return int(math.Round(s * float64(p.RateHz))) }
			part := take.Sound.Slice(min(at(float64(i)*holdS+settleS), take.Sound.Frames()), min(at(float64(i+1)*holdS), take.Sound.Frames()))
			errs[i] = a.measure(bus.Sounds[i], part, p.Chain, false)
			bus.Sounds[i].Apply(-take.GainDB) // the machine plays the note as it is
		}
	})
	p.Buses = append(p.Buses, bus)
	return errors.Join(errs...)
}

// each calls what start returns for 0 to n-1, on several cores, each with its
// own start. Results must be kept by index. A panic in one of them is the
// caller's, as without cores.
func each(n, workers int, start func() func(int)) {
	if workers <= 0 {
		workers = runtime.GOMAXPROCS(0)
	}
	next := make(chan int)
	var wg sync.WaitGroup
	var once sync.Once
	var fault any
	for range min(workers, n) {
		wg.Go(func() {
			do := start()
			one := func(i int) {
				defer func() {
					if p := recover(); p != nil {
						once.Do(func() { fault = fmt.Sprintf("%v\n\n%s", p, debug.Stack()) })
					}
				}()
				do(i)
			}
			for i := range next {
				one(i)
			}
		})
	}
	for i := range n {
		next <- i
	}
	close(next)
	wg.Wait()
	if fault != nil {
		panic(fault)
	}
}
