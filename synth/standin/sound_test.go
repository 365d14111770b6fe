package standin

import (
	"math"
	"sort"
	"testing"

	"tachbench/samples"
	"tachbench/samples/crank"
)

// quiet takes noise, variation and cylinder differences away: what is left
// is linear in the pulses.
func quiet(s Spec) Spec {
	s.COVIdle, s.COVLoad, s.COVOverrun, s.CylinderSpread = 0, 0, 0, 0
	s.FlowNoise, s.IntakeNoise, s.Clatter, s.Whine, s.RunnerM = 0, 0, 0, 0, nil
	return s
}

// TestOrdersOfTheLayout: with equal cylinders every order must stand
// against the same engine's single cylinder as n·|Σ exp(−j·o·θ)|/n says
// (engine reference, section 1), and cancelled orders must be gone.
func TestOrdersOfTheLayout(t *testing.T) {
	onlyWithoutRace(t)
	layouts := map[string]crank.Layout{
		"180-540": {Cylinders: 2, Strokes: 4, Firing: []float64{0, 180}},
		"270-450": {Cylinders: 2, Strokes: 4, Firing: []float64{0, 270}},
	}
	for _, a := range allSpecs {
		layouts[a.name] = a.spec.Layout
	}
	for name, l := range layouts {
		s := quiet(VTwin())
		if l.Strokes == 2 {
			s = quiet(SnowSled())
		}
		rpm, cycle := wholeRPM(l, 3600)
		s.Layout = l
		many, _ := record(&s, Always(rpm), Always(1), 6, 48000, []place{between}, 5, 0.1)
		s.Layout = crank.Layout{Cylinders: 1, Strokes: l.Strokes}
		one, _ := record(&s, Always(rpm), Always(1), 6, 48000, []place{between}, 6, 0.1)
		x, y := wholeCycles(many.Chans[0], cycle), wholeCycles(one.Chans[0], cycle)
		for k := 1.0; k <= 12; k++ {
			order := k / l.RevsPerCycle()
			want := float64(l.Cylinders) * l.OrderAmplitude(order)
			got := orderLevel(x, rpm, order) / orderLevel(y, rpm, order)
			if math.Abs(got-want) > 0.06*float64(l.Cylinders) {
				t.Errorf("%s, order %g: %.3f of one cylinder, want %.3f", name, order, got, want)
			}
		}
	}
}

// TestHalfOrdersFromDifferences: an even four-stroke twin has no order 0.5
// or 1.5 until its cylinders differ (engine reference, section 1); then they
// are there, under the whole orders.
func TestHalfOrdersFromDifferences(t *testing.T) {
	onlyWithoutRace(t)
	s := EvenTwin()
	rpm, cycle := wholeRPM(s.Layout, 4000)
	half := func(s Spec) float64 {
		x := wholeCycles(hold(s, rpm, 1, 6), cycle)
		return samples.AmplitudeDB(orderLevel(x, rpm, 1.5) / orderLevel(x, rpm, 1))
	}
	with := half(s)
	s.CylinderSpread, s.RunnerM = 0, nil
	without := half(s)
	if with > -6 || with < -40 || without > with-6 {
		t.Errorf("order 1.5 against 1: %.1f dB with cylinder differences, %.1f dB without", with, without)
	}
}

// TestCyclicVariation: COV of the pulse strength, up to 5 % at full load
// and warm, around the 10 % limit or worse at idle (Heywood 1988, ch. 9, as
// in the engine reference, section 1).
func TestCyclicVariation(t *testing.T) {
	for _, a := range allSpecs {
		for _, c := range []struct{ rpm, load, lo, hi float64 }{
			{a.spec.IdleRPM, 0.2, 0.08, 0.25}, {a.spec.RedlineRPM, 1, 0.015, 0.05}, {a.spec.RedlineRPM / 2, 1, 0.015, 0.05}, {a.spec.RedlineRPM / 2, 0, 0.15, 0.45},
		} {
			e := newEngine(&a.spec, 48000, 9)
			e.control(c.rpm, c.load, a.spec.Layout.CycleHz(c.rpm)/48000)
			var sum, sq float64
			const n = 20000
			for range n {
				x := e.strength(0)
				sum += x
				sq += x * x
			}
			mean := sum / n
			if cov := math.Sqrt(sq/n-mean*mean) / mean; cov < c.lo || cov > c.hi {
				t.Errorf("%s at %.0f RPM, load %g: COV %.3f, want %g..%g", a.name, c.rpm, c.load, cov, c.lo, c.hi)
			}
		}
	}
}

// TestNotABuzzer: successive cycles are alike and never the same; noise
// stands between the orders in every band; highs are under the lows.
// The bounds are common practice, no source.
func TestNotABuzzer(t *testing.T) {
	onlyWithoutRace(t)
	for _, a := range allSpecs {
		s := a.spec
		for _, c := range []struct{ revs, load float64 }{{0, 0.2}, {0.3, 1}, {0.6, 1}, {1, 1}, {0.5, 0}} {
			rpm, cycle := wholeRPM(s.Layout, s.IdleRPM+c.revs*(s.RedlineRPM-s.IdleRPM))
			x := hold(s, rpm, c.load, 4)
			r := nextCycle(x, cycle)
			lo, hi := 0.6, 0.96
			if c.load == 0 {
				lo, hi = 0.3, 0.9
			}
			if r < lo || r > hi {
				t.Errorf("%s at %.0f RPM, load %g: next cycle correlates by %.3f, want %g..%g", a.name, rpm, c.load, r, lo, hi)
			}
			periodic, rest := periodicAndRest(x, cycle)
			for b := 3; b < 8; b++ {
				if d := periodic[b] - rest[b]; d > 25 {
					t.Errorf("%s at %.0f RPM, load %g: lines stand %.0f dB above the noise at %g Hz", a.name, rpm, c.load, d, octaves[b])
				}
			}
			low := samples.DBPower(periodic[2]) + samples.DBPower(periodic[3]) + samples.DBPower(periodic[1]) + samples.DBPower(periodic[4])
			high := samples.DBPower(periodic[7]) + samples.DBPower(rest[7])
			if d := samples.PowerDB(low / high); d < 8 || d > 45 {
				t.Errorf("%s at %.0f RPM, load %g: 100 Hz to 1.4 kHz stands %.1f dB above 8 kHz", a.name, rpm, c.load, d)
			}
		}
	}
}

// TestOverrunColour: with the lever shut the tone is weaker, duller in its
// lines and noisier (engine reference, section 5).
func TestOverrunColour(t *testing.T) {
	onlyWithoutRace(t)
	for _, a := range allSpecs {
		s := a.spec
		rpm, cycle := wholeRPM(s.Layout, 0.6*s.RedlineRPM)
		p1, r1 := periodicAndRest(hold(s, rpm, 1, 4), cycle)
		p0, r0 := periodicAndRest(hold(s, rpm, 0, 4), cycle)
		sum := func(p [len(octaves)]float64) (total float64) {
			for _, db := range p[1:7] {
				total += samples.DBPower(db)
			}
			return samples.PowerDB(total)
		}
		if d := sum(p1) - sum(p0); d < 8 || d > 25 {
			t.Errorf("%s: lines %.1f dB weaker on the overrun, want 8..25", a.name, d)
		}
		if full, shut := sum(p1)-sum(r1), sum(p0)-sum(r0); shut > full-1 {
			t.Errorf("%s: lines to noise %.1f dB at full load and %.1f dB on the overrun", a.name, full, shut)
		}
	}
}

// TestLevels: 15 to 26 dB from idle to the redline at full load; peaks under
// −3 dBFS whatever the seed; no DC; one level at every rate.
func TestLevels(t *testing.T) {
	onlyWithoutRace(t)
	for _, a := range allSpecs {
		s := a.spec
		idle := samples.RMS(hold(s, s.IdleRPM, 0.2, 2))
		red := samples.RMS(hold(s, s.RedlineRPM, 1, 2))
		for seed := range uint64(3) {
			snd, _ := Record(s, Always(s.RedlineRPM), Always(1), 2, 48000, 2, seed)
			for c, ch := range snd.Chans {
				peak, sum := 0.0, 0.0
				for _, v := range ch {
					peak = max(peak, math.Abs(v))
					sum += v
				}
				if db := samples.AmplitudeDB(peak); db > -3 || db < -15 {
					t.Errorf("%s, seed %d, channel %d: peak %.1f dBFS", a.name, seed, c, db)
				}
				if dc := math.Abs(sum) / float64(len(ch)); dc > 0.002*samples.RMS(ch) {
					t.Errorf("%s: DC %.2g at RMS %.2g", a.name, dc, samples.RMS(ch))
				}
			}
		}
		if d := samples.AmplitudeDB(red / idle); d < 15 || d > 26 {
			t.Errorf("%s: %.1f dB from idle to redline", a.name, d)
		}
	}
	s := SnowSled()
	want := samples.AmplitudeDB(samples.RMS(hold(s, 6000, 1, 2)))
	for _, rate := range []int{8000, 22050, 44100, 96000, 192000} {
		snd, _ := Record(s, Always(6000), Always(1), 2, rate, 1, 5)
		got := samples.AmplitudeDB(samples.RMS(snd.Chans[0]))
		if math.Abs(got-want) > 1 {
			t.Errorf("at %d Hz: %.2f dB, at 48 kHz %.2f dB", rate, got, want)
		}
	}
}

// TestFormantsStay: the two strongest resonances, and four of six, move by
// at most 3 % while the revs move by half. Sweeps of 1.5 to 1 fill the space between the orders; under 800 Hz
// still too few lines pass a resonance to see where it peaks.
func TestFormantsStay(t *testing.T) {
	onlyWithoutRace(t)
	for _, a := range allSpecs {
		s := a.spec
		peaks := func(from, to float64) []float64 {
			snd, _ := Record(s, Ramp(from, to, 8), Always(1), 8, 48000, 1, 5)
			db, step := spectrumDB(snd.Chans[0])
			db = smooth(db, step, 70)
			type peak struct{ hz, db float64 }
			var all []peak
			for i := int(800 / step); i < int(3500/step); i++ {
				if w := int(120 / step); db[i] >= maxOf(db[i-w:i]) && db[i] > maxOf(db[i+1:i+w]) {
					all = append(all, peak{float64(i) * step, db[i]})
				}
			}
			sort.Slice(all, func(i, j int) bool { return all[i].db > all[j].db })
			var hz []float64
			for _, p := range all[:min(6, len(all))] {
				hz = append(hz, p.hz)
			}
			return hz
		}
		mid := 0.5 * (s.IdleRPM + s.RedlineRPM)
		low, high := peaks(0.65*mid, mid), peaks(mid, 1.5*mid)
		found := 0
		for i, hz := range low {
			best := math.Inf(1)
			for _, other := range high {
				best = min(best, math.Abs(other/hz-1))
			}
			if best <= 0.03 {
				found++
			} else if i < 2 {
				t.Errorf("%s: the resonance at %.0f Hz moved by %.1f %% (%.0f against %.0f)", a.name, hz, 100*best, low, high)
			}
		}
		if found < 4 {
			t.Errorf("%s: only %d of 6 resonances stayed (%.0f against %.0f)", a.name, found, low, high)
		}
	}
}

func maxOf(x []float64) float64 {
	m := math.Inf(-1)
	for _, v := range x {
		m = max(m, v)
	}
	return m
}
