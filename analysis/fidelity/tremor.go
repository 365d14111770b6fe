package fidelity

import (
	"math"

	"gonum.org/v1/gonum/dsp/fourier"
)

const (
	tremorRangeDB = 40   // bands this far under the source's loudest are left out
	tremorFloor   = 1e-5 // modulation power taken as none: depth 0.45 %, -50 dB
	tremorEdgeS   = 0.1  // of each envelope end left out: the transform wraps there
	tremorPool    = 2    // neighbours on each side pooled with a band
)

// TremorBand is the modulation of one ERB band. The modulation power is
// that of the envelope divided by its mean: m²/2 for a sine of depth m.
type TremorBand struct {
	CentreHz           float64
	LevelDB            float64 // source level re its loudest band
	SlowDB, RoughDB    float64 // render − source over 1–20 Hz and 20–150 Hz, pooled with neighbours
	RenderSlow, Slow   float64 // modulation power of this band alone, 1–20 Hz, render and source
	RenderRough, Rough float64 // 20–150 Hz
}

// TremorResult compares envelope modulation, render − source in dB.
type TremorResult struct {
	Bands                  []TremorBand
	WorstSlowDB, MeanSlow  float64 // 1–20 Hz: largest band, mean over bands
	WorstRough, MeanRough  float64 // 20–150 Hz
	WorstDB                float64 // the larger of the two worst
	FloorDB                float64 // WorstDB of one half of the source against the other, the worse way round
	LargestAbsDB           float64 // largest difference of either sign
	RenderLenS, SourceLenS float64
}

// Tremor compares a render with a source at the same steady revs: the cycle
// rate and its multiples are part of the modulation, so they must be the
// same. In bands one ERB wide and one ERB apart (power half at ±½ ERB) the
// Hilbert envelope is taken, divided by its mean, and its Hann-windowed
// power spectrum summed over 1–20 Hz (fluctuation) and 20–150 Hz
// (roughness). Bands more than 40 dB under the loudest are left out. A few
// seconds hold few independent values, so each band is pooled with two
// neighbours on each side, by mean modulation power, before the ratio is
// taken; FloorDB tells what the source itself reaches. Figures are NaN if
// either take is shorter than 1 s. Definition of the ranges: engine
// reference section 4, row iii.
func Tremor(render, source *Take) TremorResult {
	return newTremorSource(source, render.RateHz).compare(render)
}

// tremorSource is the modulation of a source, measured once.
type tremorSource struct {
	centres []float64
	bands   []modulation
	floorDB float64
	lenS    float64
}

// newTremorSource measures a source for renders of the given rate: bands
// that only the higher of the two rates carries are not compared.
func newTremorSource(s *Take, renderRateHz int) tremorSource {
	t := tremorSource{centres: erbCentres(min(renderRateHz, s.RateHz)), lenS: s.DurationS()}
	t.bands = bandModulation(s, t.centres)
	h := len(s.X) / 2
	a, b := bandModulation(s.part(0, h), t.centres), bandModulation(s.part(h, len(s.X)), t.centres)
	t.floorDB = math.Max(compareTremor(a, b, t.centres).WorstDB, compareTremor(b, a, t.centres).WorstDB)
	return t
}

func (s tremorSource) compare(render *Take) TremorResult {
	r := compareTremor(bandModulation(render, s.centres), s.bands, s.centres)
	r.FloorDB, r.RenderLenS, r.SourceLenS = s.floorDB, render.DurationS(), s.lenS
	return r
}

func compareTremor(a, b []modulation, centres []float64) TremorResult {
	nan := math.NaN()
	r := TremorResult{WorstSlowDB: nan, MeanSlow: nan, WorstRough: nan, MeanRough: nan, WorstDB: nan,
		FloorDB: nan, LargestAbsDB: nan}
	if a == nil || b == nil {
		return r
	}
	var loudest float64
	for _, m := range b {
		loudest = math.Max(loudest, m.power)
	}
	if loudest == 0 {
		return r
	}
	lowest := loudest * math.Pow(10, -tremorRangeDB/10.0)
	for i, m := range b {
		if m.power < lowest || a[i].power == 0 {
			continue
		}
		band := TremorBand{CentreHz: centres[i], LevelDB: 10 * math.Log10(m.power/loudest),
			RenderSlow: a[i].slow, Slow: m.slow, RenderRough: a[i].rough, Rough: m.rough}
		var rs, s, rr, ro float64
		for j := max(0, i-tremorPool); j <= min(len(b)-1, i+tremorPool); j++ {
			if b[j].power < lowest || a[j].power == 0 {
				continue
			}
			rs, s, rr, ro = rs+a[j].slow, s+b[j].slow, rr+a[j].rough, ro+b[j].rough
		}
		band.SlowDB = modulationDB(rs, s)
		band.RoughDB = modulationDB(rr, ro)
		r.Bands = append(r.Bands, band)
	}
	r.WorstSlowDB, r.WorstRough = math.Inf(-1), math.Inf(-1)
	r.MeanSlow, r.MeanRough, r.LargestAbsDB = 0, 0, 0
	for _, band := range r.Bands {
		r.WorstSlowDB = math.Max(r.WorstSlowDB, band.SlowDB)
		r.WorstRough = math.Max(r.WorstRough, band.RoughDB)
		r.MeanSlow += band.SlowDB / float64(len(r.Bands))
		r.MeanRough += band.RoughDB / float64(len(r.Bands))
		r.LargestAbsDB = math.Max(r.LargestAbsDB, math.Max(math.Abs(band.SlowDB), math.Abs(band.RoughDB)))
	}
	if len(r.Bands) == 0 {
		return tremorNone(r)
	}
	r.WorstDB = math.Max(r.WorstSlowDB, r.WorstRough)
	return r
}

func tremorNone(r TremorResult) TremorResult {
	nan := math.NaN()
	r.WorstSlowDB, r.WorstRough, r.MeanSlow, r.MeanRough, r.WorstDB, r.LargestAbsDB = nan, nan, nan, nan, nan, nan
	return r
}

func modulationDB(a, b float64) float64 {
	return 10 * math.Log10(math.Max(a, tremorFloor)/math.Max(b, tremorFloor))
}

type modulation struct{ power, slow, rough float64 }

// bandModulation returns level and modulation of each band, nil for a take
// shorter than one second.
func bandModulation(t *Take, centres []float64) []modulation {
	n := goodLength(len(t.X))
	if float64(n) < float64(t.RateHz) {
		return nil
	}
	spec := fourier.NewFFT(n).Coefficients(nil, t.X[:n])
	stepHz := float64(t.RateHz) / float64(n)
	out := make([]modulation, len(centres))
	plans := map[int]*fourier.CmplxFFT{}
	for i, fc := range centres {
		e := ERBNumber(fc)
		lo := int(math.Ceil(ERBHz(e-1) / stepHz))
		hi := min(int(math.Floor(ERBHz(e+1)/stepHz)), n/2-1)
		// The envelope's rate is at least four times the band, and enough
		// for 150 Hz.
		m := max(4*(hi-lo+1), int(800/stepHz))
		m += m & 1
		for goodLength(m) != m {
			m += 2
		}
		z := make([]complex128, m)
		for k := max(lo, 1); k <= hi; k++ {
			w := math.Cos(math.Pi / 2 * (ERBNumber(float64(k)*stepHz) - e))
			z[k-lo] = spec[k] * complex(w, 0)
		}
		if plans[m] == nil {
			plans[m] = fourier.NewCmplxFFT(m)
		}
		z = plans[m].Sequence(z, z)
		envRate := stepHz * float64(m)
		edge := int(tremorEdgeS * envRate)
		env := make([]float64, 0, m)
		for _, v := range z[edge : m-edge] {
			env = append(env, math.Hypot(real(v), imag(v))*2/float64(n))
		}
		out[i] = envelopeModulation(env, envRate)
	}
	return out
}

// envelopeModulation returns the power and relative modulation power of an
// envelope. It overwrites env.
func envelopeModulation(env []float64, rateHz float64) modulation {
	env = env[:goodLength(len(env))]
	n := len(env)
	var mean, power float64
	for _, v := range env {
		mean += v / float64(n)
		power += v * v / float64(n)
	}
	if mean <= 0 {
		return modulation{}
	}
	var sw float64
	for i, v := range env {
		w := 0.5 - 0.5*math.Cos(2*math.Pi*(float64(i)+0.5)/float64(n))
		env[i] = w * (v/mean - 1)
		sw += w * w
	}
	c := fourier.NewFFT(n).Coefficients(nil, env)
	r := modulation{power: power}
	for k, v := range c {
		hz := float64(k) * rateHz / float64(n)
		p := 2 * (real(v)*real(v) + imag(v)*imag(v)) / (float64(n) * sw)
		switch {
		case hz >= 1 && hz < 20:
			r.slow += p
		case hz >= 20 && hz <= 150:
			r.rough += p
		}
	}
	return r
}
