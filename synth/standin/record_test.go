package standin

import (
	"math"
	"sync"
	"testing"

	"tachbench/samples"
)

func same(t *testing.T, what string, a, b []float64) {
	t.Helper()
	if len(a) != len(b) {
		t.Fatalf("%s: %d and %d samples", what, len(a), len(b))
	}
	for i := range a {
		if math.Float64bits(a[i]) != math.Float64bits(b[i]) {
			t.Fatalf("%s: sample %d is %v and %v", what, i, a[i], b[i])
		}
	}
}

// TestSameSeedSameBytes, on several goroutines at once.
func TestSameSeedSameBytes(t *testing.T) {
	take := func(seed uint64) []float64 {
		s, _ := Record(SnowSled(), Ramp(1600, 8200, 0.2), Ramp(1, 0, 0.2), 0.2, 48000, 1, seed)
		return s.Chans[0]
	}
	want := take(4)
	var wg sync.WaitGroup
	got := make([][]float64, 4)
	for i := range got {
		wg.Go(func() { got[i] = take(4) })
	}
	wg.Wait()
	for _, g := range got {
		same(t, "same seed", g, want)
	}
	other := take(5)
	var diff float64
	for i := range other {
		diff = max(diff, math.Abs(other[i]-want[i]))
	}
	if diff < 0.01 {
		t.Error("another seed gave the same recording")
	}
}

// TestLengthsAndChannels: a longer take begins with the shorter one; a
// channel does not depend on how many there are.
func TestLengthsAndChannels(t *testing.T) {
	onlyWithoutRace(t)
	s := VTwin()
	long, _ := Record(s, Always(2000), Always(0.5), 0.5, 44100, 6, 1)
	for _, seconds := range []float64{0, 1.0 / 44100, 0.01, 0.123} {
		short, tr := Record(s, Always(2000), Always(0.5), seconds, 44100, 6, 1)
		if want := int(math.Round(seconds * 44100)); short.Frames() != want || short.Channels() != 6 {
			t.Fatalf("%g s: %d frames on %d channels, want %d on 6", seconds, short.Frames(), short.Channels(), want)
		}
		for c := range short.Chans {
			same(t, "short and long", short.Chans[c], long.Chans[c][:short.Frames()])
		}
		if tr.Len() != int(seconds/tr.HopS)+1 || len(tr.Phase) != tr.Len() || len(tr.Confidence) != tr.Len() {
			t.Errorf("%g s: a track of %d points", seconds, tr.Len())
		}
	}
	// Exhaust and intake side are alike and not the same.
	var ab, aa, bb float64
	for i, v := range long.Chans[0] {
		w := long.Chans[1][i]
		ab, aa, bb = ab+v*w, aa+v*v, bb+w*w
	}
	if r := ab / math.Sqrt(aa*bb); r > 0.98 || r < -0.5 {
		t.Errorf("the two sides correlate by %.3f", r)
	}
}

// TestTrackIsTheTruth: row 36 of the engine reference (1000 to 3000 RPM in
// 2 s: 33.3333 four-stroke cycles), and row 38 (60 s at 1500: 750), scaled.
func TestTrackIsTheTruth(t *testing.T) {
	onlyWithoutRace(t)
	_, tr := Record(Four(), Ramp(1000, 3000, 2), Always(1), 2, 48000, 1, 1)
	last := tr.Len() - 1
	if got := tr.Phase[last] - tr.Phase[0]; math.Abs(got-33.3333) > 1e-3 {
		t.Errorf("%.5f cycles, want 33.3333", got)
	}
	if math.Abs(tr.RPM[last]-3000) > 1 || math.Abs(tr.RPM[0]-1000) > 1 || math.Abs(tr.TimeS(last)-2) > 1e-9 {
		t.Errorf("track from %g to %g RPM, end at %g s", tr.RPM[0], tr.RPM[last], tr.TimeS(last))
	}
	_, tr = Record(Four(), Always(1500), Always(1), 6, 8000, 1, 1)
	if got := tr.Phase[tr.Len()-1] - tr.Phase[0]; math.Abs(got-75) > 1e-6 {
		t.Errorf("%.7f cycles, want 75", got)
	}
}

// TestPhaseMarksTheSamePlace: cut at whole phases by the track, cycles of a
// sweep line up; cut a third of a cycle off they do not.
func TestPhaseMarksTheSamePlace(t *testing.T) {
	onlyWithoutRace(t)
	s := Single()
	snd, tr := Record(s, Ramp(3000, 3300, 4), Always(1), 4, 48000, 1, 1)
	x := snd.Chans[0]
	at := func(phase float64) int { // first sample past a phase
		for i := range tr.Phase {
			if tr.Phase[i] > phase {
				f := (phase - tr.Phase[i-1]) / (tr.Phase[i] - tr.Phase[i-1])
				return int(math.Round((tr.TimeS(i-1) + f*tr.HopS) * 48000))
			}
		}
		return -1
	}
	corr := func(p1, p2 float64) float64 {
		i, j := at(p1), at(p2)
		var ab, aa, bb float64
		for k := range 1000 {
			a, b := x[i+k], x[j+k]
			ab, aa, bb = ab+a*b, aa+a*a, bb+b*b
		}
		return ab / math.Sqrt(aa*bb)
	}
	p := math.Ceil(tr.Phase[0] + 1)
	on, off := 0.0, 0.0
	for k := range 50 {
		on += corr(p+float64(k), p+float64(k)+3) / 50
		off += corr(p+float64(k), p+float64(k)+3.33) / 50
	}
	if on < 0.6 || off > 0.4 {
		t.Errorf("cycles 3 apart correlate by %.2f in phase and %.2f out of it", on, off)
	}
}

// TestWildMotion: what the caller's functions return is held in range.
func TestWildMotion(t *testing.T) {
	wild := []float64{math.NaN(), math.Inf(1), math.Inf(-1), -4, 0, 1e300, 5000}
	i := 0
	f := func(float64) float64 { i++; return wild[i%len(wild)] }
	for _, a := range allSpecs {
		snd, tr := Record(a.spec, f, f, 0.1, 48000, 2, 1)
		for _, ch := range snd.Chans {
			for n, v := range ch {
				if !(math.Abs(v) < 20) {
					t.Fatalf("%s: sample %d is %g", a.name, n, v)
				}
			}
		}
		for _, r := range tr.RPM {
			if !(r >= minRPM && r <= maxRPM) {
				t.Fatalf("%s: %g RPM in the track", a.name, r)
			}
		}
	}
}

func TestValidate(t *testing.T) {
	for _, a := range allSpecs {
		if err := a.spec.Validate(); err != nil {
			t.Errorf("%s: %v", a.name, err)
		}
	}
	for name, edit := range map[string]func(*Spec){
		"strokes":       func(s *Spec) { s.Layout.Strokes = 3 },
		"redline":       func(s *Spec) { s.RedlineRPM = s.IdleRPM },
		"NaN idle":      func(s *Spec) { s.IdleRPM = math.NaN() },
		"no pipe":       func(s *Spec) { s.Pipe = nil },
		"narrow pipe":   func(s *Spec) { s.Pipe[1].AreaCM2 = 0 },
		"runners":       func(s *Spec) { s.RunnerM = []float64{0} },
		"long runner":   func(s *Spec) { s.RunnerM = []float64{0, 9} },
		"intake":        func(s *Spec) { s.IntakeM = 0 },
		"NaN variation": func(s *Spec) { s.COVIdle = math.NaN() },
		"noise":         func(s *Spec) { s.FlowNoise = -1 },
	} {
		s := VTwin()
		edit(&s)
		if err := s.Validate(); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
}

func TestRecordPanics(t *testing.T) {
	bad := VTwin()
	bad.Pipe = nil
	for name, call := range map[string]func(){
		"no pipe":     func() { Record(bad, Always(1), Always(1), 1, 48000, 1, 1) },
		"negative":    func() { Record(VTwin(), Always(1), Always(1), -1, 48000, 1, 1) },
		"NaN":         func() { Record(VTwin(), Always(1), Always(1), math.NaN(), 48000, 1, 1) },
		"no channels": func() { Record(VTwin(), Always(1), Always(1), 1, 48000, 0, 1) },
		"rate 1":      func() { Record(VTwin(), Always(1), Always(1), 1, 1, 1, 1) },
	} {
		func() {
			defer func() {
				if recover() == nil {
					t.Errorf("%s: no panic", name)
				}
			}()
			call()
		}()
	}
}

func BenchmarkRecord(b *testing.B) {
	for _, n := range []struct {
		name     string
		channels int
	}{{"mono", 1}, {"stereo", 2}} {
		b.Run(n.name, func(b *testing.B) {
			s := SnowSled()
			gain(&s)
			b.ReportAllocs()
			var snd *samples.Sound
			for b.Loop() {
				snd, _ = Record(s, Always(5000), Always(1), 2, 48000, n.channels, 3)
			}
			b.ReportMetric(snd.DurationS()*float64(b.N)/b.Elapsed().Seconds(), "x-realtime")
		})
	}
}
