package tacho_test

import (
	"errors"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"tachbench/analysis/tacho"
	"tachbench/samples"
	"tachbench/samples/crank"
	"tachbench/samples/tone"
)

func byName(name string) engine {
	for _, e := range engines {
		if e.name == name {
			return e
		}
	}
	panic(name)
}

// Each case makes the octave, or the recording, harder in one way.
func TestHardConditions(t *testing.T) {
	if testing.Short() {
		t.Skip("long; the shorter tests go the same ways")
	}
	two, four, single, vtwin := byName("two-stroke twin"), byName("inline four"), byName("single"), byName("V-twin 315-405")
	for _, c := range []struct {
		name   string
		layout crank.Layout
		rpm    float64
		change func(*tone.EngineSpec)
		opt    tacho.Options
	}{
		{"equal cylinders two-stroke", two.layout, 3100, func(s *tone.EngineSpec) { s.SpreadDB = -1 }, tacho.Options{}},
		{"equal cylinders four", four.layout, 4300, func(s *tone.EngineSpec) { s.SpreadDB = -1 }, tacho.Options{}},
		{"equal and without variation", two.layout, 4800, func(s *tone.EngineSpec) { s.SpreadDB, s.CycleVariation, s.JitterDeg = -1, -1, -1 }, tacho.Options{}},
		{"equal cylinders, range hints", two.layout, 8000, func(s *tone.EngineSpec) { s.SpreadDB = -1 }, tacho.Options{MinRPM: 1500, MaxRPM: 8500}},
		{"equal cylinders V-twin", vtwin.layout, 1500, func(s *tone.EngineSpec) { s.SpreadDB = -1 }, tacho.Options{}},
		{"unequal cylinders, range hints", four.layout, 3300, func(s *tone.EngineSpec) { s.SpreadDB = 3 }, tacho.Options{MinRPM: 1200, MaxRPM: 12000}},
		{"first-order line as loud as the engine", four.layout, 2500, func(s *tone.EngineSpec) { s.Imbalance = 1 }, tacho.Options{}},
		{"first-order line, single", single.layout, 3000, func(s *tone.EngineSpec) { s.Imbalance = 1.5 }, tacho.Options{}},
		{"small microphone", single.layout, 1600, func(s *tone.EngineSpec) { s.LowCutHz = 150 }, tacho.Options{}},
		{"small microphone, V-twin idle", vtwin.layout, 950, func(s *tone.EngineSpec) { s.LowCutHz = 150 }, tacho.Options{}},
		{"44.1 kHz", two.layout, 3500, func(s *tone.EngineSpec) { s.RateHz = 44100 }, tacho.Options{}},
		{"96 kHz stereo", two.layout, 3500, func(s *tone.EngineSpec) { s.RateHz, s.Channels = 96000, 2 }, tacho.Options{}},
		{"192 kHz", single.layout, 2000, func(s *tone.EngineSpec) { s.RateHz = 192000 }, tacho.Options{}},
		{"8 kHz", four.layout, 2600, func(s *tone.EngineSpec) { s.RateHz = 8000 }, tacho.Options{}},
		{"11.025 kHz, six channels", four.layout, 2600, func(s *tone.EngineSpec) { s.RateHz, s.Channels = 11025, 6 }, tacho.Options{}},
		{"hop 5 ms", two.layout, 3500, func(*tone.EngineSpec) {}, tacho.Options{HopS: 0.005}},
		{"hop 33 ms", two.layout, 3500, func(*tone.EngineSpec) {}, tacho.Options{HopS: 0.033}},
		{"no hiss at all", two.layout, 3500, func(s *tone.EngineSpec) { s.SNRDB = 0 }, tacho.Options{}},
		{"10 dB signal to hiss", four.layout, 3500, func(s *tone.EngineSpec) { s.SNRDB = 10 }, tacho.Options{}},
		{"very quiet", four.layout, 3500, func(s *tone.EngineSpec) { s.RMS = 1e-4 }, tacho.Options{}},
	} {
		t.Run(c.name, func(t *testing.T) {
			spec := tone.EngineSpec{Layout: c.layout, RPM: tone.Hold(c.rpm), DurationS: 2.5, SNRDB: 20, Seed: 21}
			c.change(&spec)
			e := run(t, spec, c.opt)
			t.Log(e)
			if e.median > 0.0015 || e.found < 0.9 {
				t.Error("out of limits")
			}
		})
	}
}

func TestPullWithHintsAndSmallMicrophone(t *testing.T) {
	en := byName("single")
	e := run(t, tone.EngineSpec{Layout: en.layout, RPM: tone.Pull(en.idle, en.red, 15), DurationS: 15, SNRDB: 20, LowCutHz: 150, Seed: 4},
		tacho.Options{MinRPM: en.idle * 0.9, MaxRPM: en.red * 1.1})
	t.Log(e)
	if e.p95 > 0.01 {
		t.Error("out of limits")
	}
}

func TestClippedAndHum(t *testing.T) {
	en := byName("two-stroke twin")
	spec := tone.EngineSpec{Layout: en.layout, RPM: tone.Hold(3330), DurationS: 2.5, SNRDB: 20, Seed: 3}
	for name, damage := range map[string]func(x []float64){
		"clipped": func(x []float64) {
			for i, v := range x {
				x[i] = math.Max(-0.08, math.Min(0.08, v))
			}
		},
		"50 Hz hum and DC": func(x []float64) {
			for i := range x {
				x[i] += 0.3 + 0.1*math.Sin(2*math.Pi*50*float64(i)/48000) + 0.03*math.Sin(2*math.Pi*150*float64(i)/48000)
			}
		},
		"one NaN and one infinity": func(x []float64) {
			x[1000], x[2000] = math.NaN(), math.Inf(1)
		},
	} {
		t.Run(name, func(t *testing.T) {
			s, truth := tone.Engine(spec)
			damage(s.Chans[0])
			got, err := tacho.Track(s, en.layout, tacho.Options{})
			if err != nil {
				t.Fatal(err)
			}
			if e := compare(got, truth); e.median > 0.0015 || e.slips > 0 {
				t.Error(e)
			}
		})
	}
}

func TestReversedStereo(t *testing.T) {
	en := byName("triple")
	s, truth := tone.Engine(tone.EngineSpec{Layout: en.layout, RPM: tone.Hold(3000), DurationS: 2, Channels: 2, SNRDB: 30, Seed: 3})
	for i := range s.Chans[1] {
		s.Chans[1][i] = -s.Chans[1][i]
	}
	got, err := tacho.Track(s, en.layout, tacho.Options{})
	if err != nil {
		t.Fatal(err)
	}
	if e := compare(got, truth); e.median > 0.0015 || e.slips > 0 {
		t.Error(e)
	}
}

// talk is noise with syllables: band-limited bursts, 4 a second.
func talk(n int) []float64 {
	x := tone.Pink(48000, float64(n)/48000, 0.1, 8).Chans[0]
	for i := range x {
		x[i] *= math.Pow(math.Sin(math.Pi*4*float64(i)/48000), 2)
	}
	return x
}

func TestAbsentBeforeTheEngine(t *testing.T) {
	en := byName("two-stroke twin")
	for name, lead := range map[string][]float64{
		"silence": make([]float64, 48000),
		"hiss":    tone.White(48000, 1, 1, 0.01, 4).Chans[0],
		"talk":    talk(48000),
	} {
		t.Run(name, func(t *testing.T) {
			s, truth := tone.Engine(tone.EngineSpec{Layout: en.layout, RPM: tone.Hold(3000), DurationS: 3, SNRDB: 20, Seed: 3})
			s.Chans[0] = append(append([]float64(nil), lead...), s.Chans[0]...)
			got, err := tacho.Track(s, en.layout, tacho.Options{})
			if err != nil {
				t.Fatal(err)
			}
			early, conf := 0, 0.0
			for i := range 90 {
				if !math.IsNaN(got.RPM[i]) {
					early++
				}
				conf = math.Max(conf, got.Confidence[i])
			}
			tail := &crank.Track{HopS: got.HopS, RPM: got.RPM[100:], Phase: got.Phase[100:], Confidence: got.Confidence[100:]}
			e := compare(tail, truth)
			t.Logf("%v; in the lead %d points, confidence up to %.2f", e, early, conf)
			if early > 0 || conf > 0.5 {
				t.Errorf("%d of 90 points have revs before the engine starts, confidence %.2f", early, conf)
			}
			if e.slips > 0 || e.found < 0.95 || e.median > 0.0015 {
				t.Error("engine not tracked")
			}
		})
	}
}

func TestNoEngine(t *testing.T) {
	short := func(s *samples.Sound, n int) *samples.Sound { return s.Slice(0, n) }
	engineSound, _ := tone.Engine(tone.EngineSpec{Layout: byName("single").layout, RPM: tone.Hold(3000), DurationS: 1})
	cases := map[string]*samples.Sound{
		"white hiss":    tone.White(48000, 1, 5, 0.1, 1),
		"white hiss 2":  tone.White(44100, 2, 3, 0.1, 2),
		"pink":          tone.Pink(48000, 5, 0.1, 3),
		"talk":          {RateHz: 48000, Chans: [][]float64{talk(4 * 48000)}},
		"silence":       tone.Silence(48000, 1, 2),
		"DC":            tone.DC(48000, 2, 0.5),
		"one sample":    short(engineSound, 1),
		"no sample":     short(engineSound, 0),
		"0.05 s":        short(engineSound, 2400),
		"pure sine":     tone.Sine(48000, 2, 50, 0.5, 0),
		"sine in hiss":  mix(tone.Sine(48000, 2, 200, 0.1, 0), tone.White(48000, 1, 2, 0.01, 5)),
		"impulse":       tone.Impulse(48000, 2, 48000, 1),
		"low rate, one": {RateHz: 10, Chans: [][]float64{{1, 2, 3}}},
	}
	for name, s := range cases {
		for _, layout := range []crank.Layout{byName("single").layout, byName("inline four").layout, byName("two-stroke twin").layout} {
			got, err := tacho.Track(s, layout, tacho.Options{})
			var none *tacho.NoEngineError
			if !errors.As(err, &none) {
				sum := tacho.Summary{}
				if got != nil {
					sum = tacho.Summarize(got)
				}
				t.Errorf("%s, %d cylinders: want NoEngineError, got %v, %+v", name, layout.Cylinders, err, sum)
				continue
			}
			if strings.Contains(err.Error(), "\n") || none.BestConfidence >= 1 {
				t.Errorf("%s: %v", name, err)
			}
		}
	}
}

func mix(a, b *samples.Sound) *samples.Sound {
	for i := range a.Chans[0] {
		a.Chans[0][i] += b.Chans[0][i]
	}
	return a
}

func TestShortFile(t *testing.T) {
	en := byName("two-stroke twin")
	e := run(t, tone.EngineSpec{Layout: en.layout, RPM: tone.Hold(3000), DurationS: 0.3, SNRDB: 20, Seed: 3}, tacho.Options{MinRPM: 1500, MaxRPM: 8500})
	t.Log(e)
	if e.median > 0.005 || e.found < 0.8 {
		t.Error("out of limits")
	}
}

func TestUnusableInput(t *testing.T) {
	s := tone.Silence(48000, 1, 1)
	for _, c := range []struct {
		l crank.Layout
		o tacho.Options
	}{
		{crank.Layout{Cylinders: 0, Strokes: 4}, tacho.Options{}},
		{crank.Layout{Cylinders: 2, Strokes: 4}, tacho.Options{MinRPM: 5000, MaxRPM: 1000}},
		{crank.Layout{Cylinders: 2, Strokes: 4}, tacho.Options{MinRPM: math.NaN()}},
		{crank.Layout{Cylinders: 2, Strokes: 4}, tacho.Options{MinRPM: -5}},
		{crank.Layout{Cylinders: 2, Strokes: 4}, tacho.Options{MaxRPM: math.Inf(1)}},
		{crank.Layout{Cylinders: 2, Strokes: 4}, tacho.Options{HopS: 5}},
	} {
		if _, err := tacho.Track(s, c.l, c.o); err == nil || tacho.IsNoEngine(err) {
			t.Errorf("%+v %+v: %v", c.l, c.o, err)
		}
	}
}

func TestDeterministic(t *testing.T) {
	en := byName("triple")
	s, _ := tone.Engine(tone.EngineSpec{Layout: en.layout, RPM: tone.Pull(2000, 4000, 2), DurationS: 2, SNRDB: 20, Seed: 3})
	before := append([]float64(nil), s.Chans[0]...)
	a, _ := tacho.Track(s, en.layout, tacho.Options{})
	b, _ := tacho.Track(s, en.layout, tacho.Options{})
	for i := range a.RPM {
		if math.Float64bits(a.RPM[i]) != math.Float64bits(b.RPM[i]) || math.Float64bits(a.Phase[i]) != math.Float64bits(b.Phase[i]) {
			t.Fatalf("point %d differs between two runs", i)
		}
	}
	for i, v := range before {
		if s.Chans[0][i] != v {
			t.Fatalf("Track changed its input at frame %d", i)
		}
	}
}

func TestSummarize(t *testing.T) {
	nan := math.NaN()
	s := tacho.Summarize(&crank.Track{HopS: 0.5, RPM: []float64{nan, 100, 300, 200, 400}, Confidence: []float64{0.1, 0.5, 1, 1, 0.5}})
	if s.MedianRPM != 250 || s.MinRPM != 100 || s.MaxRPM != 400 || s.FoundS != 2 || s.Confidence != 0.75 {
		t.Errorf("%+v", s)
	}
	if s := tacho.Summarize(&crank.Track{HopS: 0.5, RPM: []float64{nan}, Confidence: []float64{0}}); !math.IsNaN(s.MedianRPM) || s.FoundS != 0 {
		t.Errorf("%+v", s)
	}
}

func BenchmarkTrack60s(b *testing.B) {
	en := byName("two-stroke twin")
	rng := rand.New(rand.NewPCG(1, 2))
	hunt := rng.Float64()
	s, _ := tone.Engine(tone.EngineSpec{Layout: en.layout, DurationS: 60, SNRDB: 20, Seed: 3,
		RPM: func(t float64) float64 { return 4800 + 3000*math.Sin(2*math.Pi*(t/30+hunt)) }})
	b.ReportAllocs()
	for b.Loop() {
		if _, err := tacho.Track(s, en.layout, tacho.Options{}); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(60/(b.Elapsed().Seconds()/float64(b.N)), "x-realtime")
}
