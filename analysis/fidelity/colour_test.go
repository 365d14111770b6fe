package fidelity

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/dsp/fourier"

	"tachbench/samples"
	"tachbench/samples/tone"
)

func TestColourOfIdenticalInput(t *testing.T) {
	s := take(t, engine(sled, Hold(3500), 4, 1), sled)
	r := Colour(s, s)
	near(t, "whole", r.WholeDB, 0, 1e-9)
	if len(r.CentresHz) < 30 {
		t.Errorf("%d bands", len(r.CentresHz))
	}
	louder := *s
	louder.X = make([]float64, len(s.X))
	for i, v := range s.X {
		louder.X[i] = v / 2
	}
	r = Colour(&louder, s)
	near(t, "half the amplitude", r.WholeDB, 0, 1e-9)
	near(t, "level match", r.MatchDB, 20*math.Log10(0.5), 1e-9)
}

// tilt turns the spectrum of x by g dB per ERB number.
func tilt(x []float64, g float64) []float64 {
	n := goodLength(len(x))
	f := fourier.NewFFT(n)
	c := f.Coefficients(nil, x[:n])
	for k := range c {
		hz := float64(k) * 48000 / float64(n)
		c[k] *= complex(samples.DBAmplitude(g*ERBNumber(hz))/float64(n), 0)
	}
	return f.Sequence(nil, c)
}

// A tilt of g dB a band over n bands one apart has, level matched, the
// distance g·sqrt((n²-1)/12).
func TestColourOfATilt(t *testing.T) {
	w := tone.White(48000, 1, 8, 0.1, 1).Chans[0]
	s := FromRender(mono(w), Hold(3500), sled)
	for _, g := range []float64{0.1, 0.3, -0.5} {
		r := Colour(FromRender(mono(tilt(w, g)), Hold(3500), sled), s)
		n := float64(len(r.CentresHz))
		near(t, "tilt", r.WholeDB, math.Abs(g)*math.Sqrt((n*n-1)/12), 0.02*math.Abs(g)*n)
	}
}

// Another take of the same engine lies at the floor, a tilt of 4 dB or a
// retuned exhaust far above floor + 1 dB.
func TestColourFloor(t *testing.T) {
	if testing.Short() {
		t.Skip("long, and without a second goroutine")
	}
	for _, rpm := range []float64{1600, 3500, 8000} {
		a, b := halves(t, rpm, 4, 1)
		r := Colour(a, b)
		t.Logf("%.0f RPM: distance %.2f, floor %.2f, whole %.2f dB", rpm, r.DistanceDB, r.FloorDB, r.WholeDB)
		below(t, "another take against the floor", math.Abs(r.DistanceDB-r.FloorDB), 0.3)
		bad := FromRender(mono(tilt(a.X, 0.3)), Hold(rpm), sled)
		if bad := Colour(bad, b); bad.DistanceDB < bad.FloorDB+1 {
			t.Errorf("%.0f RPM: a tilt passes: %.2f, floor %.2f", rpm, bad.DistanceDB, bad.FloorDB)
		}
	}
	// The floor is that of equal length: a longer source must have a lower
	// one, a shorter render must raise the distance, not be excused.
	long, _ := halves(t, 3500, 12, 1)
	short := long.part(0, 3*48000)
	if l, s := Colour(long, long).FloorDB, Colour(short, short).FloorDB; l >= s {
		t.Errorf("floor of 12 s %.3f, of 3 s %.3f dB", l, s)
	}
}

func TestSTFTOfIdenticalInput(t *testing.T) {
	a, b := halves(t, 3500, 2, 1)
	for i, v := range STFT(a, a).Convergence {
		near(t, "convergence", v, 0, 1e-12)
		near(t, "log", STFT(a, a).LogDB[i], 0, 1e-9)
	}
	for _, v := range STFT(a, b).Convergence {
		if !(v > 0 && v < 2) {
			t.Errorf("another take: %v", v)
		}
	}
}

// Cylinders that differ by ±d leave the sled's odd harmonics at a level that
// is known: pulses of 1+d and 1-d have |A(odd)|/|A(even)| = d.
func TestHalfOrders(t *testing.T) {
	pulses := func(d float64) *Take {
		tk := FromRender(mono(make([]float64, 4*48000)), Hold(3000), sled)
		for i, p := range tk.Phase {
			a := math.Pow(0.5+0.5*math.Cos(2*math.Pi*p), 8)
			b := math.Pow(0.5-0.5*math.Cos(2*math.Pi*p), 8)
			tk.X[i] = (1+d)*a + (1-d)*b
		}
		return tk
	}
	r := HalfOrders(pulses(0.2), pulses(0.1))
	near(t, "dominant", r.DominantOrder, 2, 0)
	near(t, "worst", r.WorstDB, 20*math.Log10(2), 0.05)
	near(t, "total", r.TotalDB, 20*math.Log10(2), 0.05)
	if r := HalfOrders(pulses(0.1), pulses(0.1)); r.WorstDB != 0 {
		t.Errorf("identical: %+v", r)
	}
	a, b := halves(t, 3500, 4, 1)
	o := HalfOrders(a, b)
	t.Logf("another take: worst %.2f dB over %d orders", o.WorstDB, len(o.Orders))
	below(t, "another take", o.WorstDB, 2)
	if r := HalfOrders(a.part(0, 500), b); !math.IsNaN(r.WorstDB) {
		t.Error("half orders of nothing")
	}
}

func TestFormantHold(t *testing.T) {
	if testing.Short() {
		t.Skip("long, and without a second goroutine")
	}
	glide := func(rpm float64, seed uint64) (Recording, *Take) {
		r := engine(sled, Hold(rpm), 4, seed)
		return r, take(t, r, sled)
	}
	for _, rpm := range []float64{1800, 3500} {
		_, mid := glide(rpm, 1)
		_, low := glide(rpm*0.9, 1)
		_, high := glide(rpm*1.1, 1)
		r := FormantHold(mid, low, high)
		for _, f := range r.Formants {
			t.Logf("%.0f RPM: %.0f Hz (+%.1f dB) moves %.2f %% (plain %.1f)", rpm, f.Hz, f.RiseDB, f.MovePct, f.PlainMove)
		}
		below(t, "true engine", r.WorstPct, 3)
		fast, _ := PlainResample([]*Take{mid}, Hold(rpm*1.1), 4)
		slow, _ := PlainResample([]*Take{mid}, Hold(rpm*0.9), 4)
		p := FormantHold(mid, FromRender(slow, Hold(rpm*0.9), sled), FromRender(fast, Hold(rpm*1.1), sled))
		t.Logf("resampled: %.2f %%", p.WorstPct)
		near(t, "resampled", p.WorstPct, 10, 2)
		if s := FormantHold(mid, mid); s.WorstPct > 0.05 {
			t.Errorf("identical: %v", s.WorstPct)
		}
	}
}

func TestColourWithoutMaterial(t *testing.T) {
	s := take(t, engine(sled, Hold(3500), 3, 1), sled)
	for _, n := range []int{0, 1, 1000, 144000} {
		silent := FromRender(mono(make([]float64, n)), Hold(3500), sled)
		if r := Colour(s, silent); !math.IsNaN(r.DistanceDB) || !math.IsNaN(r.WholeDB) {
			t.Errorf("%d silent frames as source: %v %v", n, r.DistanceDB, r.WholeDB)
		}
		STFT(silent, s)
		STFT(s, silent)
		HalfOrders(s, silent)
		HalfOrders(silent, s)
		FormantHold(silent, s)
		FormantHold(s, silent)
	}
}
