package resample

import (
	"fmt"
	"math"
)

// Options choose the filter. The zero value means the defaults.
type Options struct {
	// PassBand is where the flat band ends, as a fraction of the lower of the
	// two Nyquist frequencies: 0.5..0.99, 0 means 20/22.05 (0.907). The time
	// needed grows with 1/(1-PassBand).
	PassBand float64
	// StopDB is the attenuation of everything at and above the lower Nyquist
	// frequency and, as a ripple, the precision of the flat band: 60..150 dB,
	// 0 means 120.
	StopDB float64
}

const (
	defaultPassBand = 20 / 22.05
	defaultStopDB   = 120

	// maxRateHz is far above any sound and far below where products of two
	// rates overflow.
	maxRateHz = 10_000_000
	// maxRatio bounds to/from and from/to. The filter of a downward
	// conversion is as long as the ratio is steep.
	maxRatio = 1000
	// maxTable bounds the exact table, in coefficients of 8 bytes.
	maxTable = 1 << 19
	// blendPhases is the number of rows an input sample (an output sample,
	// going down) is divided into where the exact table would be too large.
	blendPhases = 2048
)

func (o Options) withDefaults() Options {
	if o.PassBand == 0 {
		o.PassBand = defaultPassBand
	}
	if o.StopDB == 0 {
		o.StopDB = defaultStopDB
	}
	if !(o.PassBand >= 0.5 && o.PassBand <= 0.99) {
		panic(fmt.Sprintf("resample: PassBand %g is outside 0.5..0.99", o.PassBand))
	}
	if !(o.StopDB >= 60 && o.StopDB <= 150) {
		panic(fmt.Sprintf("resample: StopDB %g is outside 60..150", o.StopDB))
	}
	return o
}

// Check returns nil if the package converts between the two rates: both 1 Hz
// to 10 MHz and less than a factor of 1000 apart. A rate read from a file should
// be checked before New or Sound, which panic instead.
func Check(fromHz, toHz int) error {
	switch {
	case fromHz <= 0 || toHz <= 0:
		return fmt.Errorf("cannot convert %d Hz to %d Hz: rates must be positive", fromHz, toHz)
	case fromHz > maxRateHz || toHz > maxRateHz:
		return fmt.Errorf("cannot convert %d Hz to %d Hz: rates must be at most %d Hz", fromHz, toHz, maxRateHz)
	case fromHz/toHz >= maxRatio || toHz/fromHz >= maxRatio:
		return fmt.Errorf("cannot convert %d Hz to %d Hz: rates must lie within a factor of %d", fromHz, toHz, maxRatio)
	}
	return nil
}

// filter is the table of one conversion. It does not change once made.
type filter struct {
	up, down int  // L and M of the reduced ratio
	half     int  // taps on either side of an output frame; rows hold 2·half
	blend    bool // rows are blended, see rows
	// phases: row p holds the filter for output frames that lie p/phases
	// behind an input frame. Exact tables have phases = up. Blended ones have
	// one row more than phases, so that row p+1 always exists.
	phases int
	table  []float64
}

// newFilter designs the filter; the rates have passed Check.
func newFilter(fromHz, toHz int, o Options) *filter {
	g := gcd(fromHz, toHz)
	f := &filter{up: toHz / g, down: fromHz / g}

	// All frequencies in cycles per input sample.
	stop := 0.5 * math.Min(1, float64(toHz)/float64(fromHz))
	pass := stop * o.PassBand
	cutoff := (pass + stop) / 2
	beta := 0.1102 * (o.StopDB - 8.7)
	// Rounded up to a multiple of 4 so that rows suit dot.
	f.half = 4 * int(math.Ceil((o.StopDB-7.95)/(14.36*(stop-pass))/8))

	f.phases = f.up
	rows := f.up
	if f.up*2*f.half > maxTable {
		f.blend = true
		// Going down, the response is wider by the ratio and needs fewer
		// rows for the same smoothness.
		f.phases = int(math.Ceil(blendPhases * 2 * stop))
		rows = f.phases + 1
	}
	f.table = make([]float64, rows*2*f.half)
	for p := range rows {
		row := f.row(p)
		var sum float64
		for k := range row {
			t := float64(p)/float64(f.phases) + float64(f.half-1-k)
			row[k] = windowedSinc(t, cutoff, float64(f.half), beta)
			sum += row[k]
		}
		// The rows sum to 1 but for the stop-band ripple. Making it exact
		// keeps constants free of a faint tone at the phase rate.
		for k := range row {
			row[k] /= sum
		}
	}
	return f
}

// row returns the coefficients of phase p.
func (f *filter) row(p int) []float64 {
	n := 2 * f.half
	return f.table[p*n : (p+1)*n : (p+1)*n]
}

// windowedSinc is h(t) of the package comment; t and half in input samples.
func windowedSinc(t, cutoff, half, beta float64) float64 {
	x := t / half
	if x <= -1 || x >= 1 {
		return 0
	}
	s := 2 * cutoff
	if t != 0 {
		s = math.Sin(2*math.Pi*cutoff*t) / (math.Pi * t)
	}
	return s * besselI0(beta*math.Sqrt(1-x*x)) / besselI0(beta)
}

// besselI0 is the modified Bessel function of the first kind and order zero
// by its power series, Σ ((x/2)^k / k!)² (Abramowitz and Stegun 9.6.12), which
// converges quickly for the 0..16 that occur here.
func besselI0(x float64) float64 {
	q := x * x / 4
	sum, term := 1.0, 1.0
	for k := 1.0; term > sum*1e-17; k++ {
		term *= q / (k * k)
		sum += term
	}
	return sum
}

func gcd(a, b int) int {
	for b != 0 {
		a, b = b, a%b
	}
	return a
}
