package fidelity

import (
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/dsp/fourier"
)

const (
	colourFrameS  = 0.17 // the frame is the power of two nearest to this
	colourBlock   = 3    // frames that are drawn together
	colourSplits  = 16
	colourSeed    = 1990
	colourFloorDB = -60 // bands this far under the source's loudest are not compared
	roexTail      = 14  // p·g at which the filter's skirt is cut, -49 dB
)

// ColourResult is the log-spectral distance of two takes.
type ColourResult struct {
	// DistanceDB compares as much of the render with as much of the source
	// as FloorDB compares of the source with itself, averaged over splits.
	DistanceDB float64
	// FloorDB is the mean distance between random halves of the source.
	FloorDB float64
	// WholeDB compares all of the render with all of the source.
	WholeDB    float64
	CentresHz  []float64 // bands behind WholeDB
	BandDB     []float64 // render − source there, after the levels were matched
	MatchDB    float64   // level difference taken out of WholeDB, render − source
	RenderPart float64   // seconds on each side of DistanceDB, estimated
}

// Colour measures the distance between the long-term spectra of a render and
// of a source at the same revs. Power spectra (Hann frames of about 0.17 s,
// half overlapped) are averaged and weighted with auditory filters one ERB
// apart from 50 Hz to 8 kHz, rounded-exponential in shape, W(g) =
// (1+pg)·e^(-pg) with g = |f-fc|/fc and p = 4·fc/ERB(fc) (Glasberg & Moore
// 1990), so that a line that lies a percent aside moves no band by leaps.
// The distance is
//
//	D = sqrt(mean over bands of (R_dB − S_dB − mean(R_dB − S_dB))²)
//
// the mean difference being the level match. Bands more than 60 dB under the
// source's loudest are left out.
//
// Short averages differ by chance, so the floor is only honest at equal
// length: the source's frames are split into random halves, in blocks of
// three frames so that drift falls on both; the floor is the mean distance of
// the halves, and DistanceDB the mean distance of one half to equally many
// blocks of the render. The draws are seeded. Engine reference section 4,
// row v-a. NaN for takes shorter than about 2 s.
func Colour(render, source *Take) ColourResult {
	nan := math.NaN()
	r := ColourResult{DistanceDB: nan, FloorDB: nan, WholeDB: nan, MatchDB: nan, RenderPart: nan}
	centres := erbCentres(min(render.RateHz, source.RateHz))
	rb, sb := bandBlocks(render, centres), bandBlocks(source, centres)
	if len(rb) < 2 || len(sb) < 4 {
		return r
	}
	whole := meanBands(sb, nil)
	use := audible(whole)
	r.WholeDB, r.MatchDB, r.BandDB = distance(meanBands(rb, nil), whole, use)
	for i, u := range use {
		if u {
			r.CentresHz = append(r.CentresHz, centres[i])
		}
	}
	rng := rand.New(rand.NewPCG(colourSeed, uint64(len(sb))))
	n := min(len(sb)/2, len(rb))
	r.RenderPart = float64(n*colourBlock+1) * float64(colourFrame(source.RateHz)) / 2 / float64(source.RateHz)
	var floor, dist float64
	for range colourSplits {
		ps, pr := rng.Perm(len(sb)), rng.Perm(len(rb))
		a, b := meanBands(sb, ps[:n]), meanBands(sb, ps[n:2*n])
		f, _, _ := distance(a, b, use)
		d, _, _ := distance(meanBands(rb, pr[:n]), b, use)
		floor, dist = floor+f/colourSplits, dist+d/colourSplits
	}
	r.FloorDB, r.DistanceDB = floor, dist
	return r
}

// audible marks the bands within 60 dB of the loudest.
func audible(p []float64) []bool {
	var top float64
	for _, v := range p {
		top = math.Max(top, v)
	}
	out := make([]bool, len(p))
	for i, v := range p {
		out[i] = v > 0 && v >= top*math.Pow(10, colourFloorDB/10.0)
	}
	return out
}

func distance(a, b []float64, use []bool) (rms, mean float64, each []float64) {
	for i, u := range use {
		if u {
			// A band the render does not fill at all counts as 120 dB down.
			d := 10 * math.Log10(math.Max(a[i]/b[i], 1e-12))
			each = append(each, d)
			mean += d
		}
	}
	mean /= float64(len(each)) // 0/0 = NaN: nothing to compare
	for i := range each {
		each[i] -= mean
	}
	return math.Sqrt(meanSquare(each)) + 0*mean, mean, each
}

func meanBands(blocks [][]float64, pick []int) []float64 {
	out := make([]float64, len(blocks[0]))
	add := func(b []float64) {
		for i, v := range b {
			out[i] += v
		}
	}
	if pick == nil {
		for _, b := range blocks {
			add(b)
		}
		pick = make([]int, len(blocks))
	} else {
		for _, i := range pick {
			add(blocks[i])
		}
	}
	for i := range out {
		out[i] /= float64(len(pick))
	}
	return out
}

func colourFrame(rateHz int) int {
	return 1 << int(math.Round(math.Log2(colourFrameS*float64(rateHz))))
}

// bandBlocks returns the auditory band powers of blocks of frames.
func bandBlocks(t *Take, centres []float64) [][]float64 {
	size := colourFrame(t.RateHz)
	hop := size / 2
	stepHz := float64(t.RateHz) / float64(size)
	fft := fourier.NewFFT(size)
	win := hann(size)
	buf, spec := make([]float64, size), make([]complex128, size/2+1)
	power := make([]float64, size/2+1)
	filters := roexFilters(centres, stepHz, size/2)
	var out [][]float64
	for at := 0; at+size+(colourBlock-1)*hop <= len(t.X); at += colourBlock * hop {
		clear(power)
		for f := range colourBlock {
			x := t.X[at+f*hop : at+f*hop+size]
			for i, v := range x {
				buf[i] = v * win[i]
			}
			for i, c := range fft.Coefficients(spec, buf) {
				power[i] += real(c)*real(c) + imag(c)*imag(c)
			}
		}
		bands := make([]float64, len(centres))
		for i, f := range filters {
			bands[i] = dot(f.w, power[f.from:f.from+len(f.w)])
		}
		out = append(out, bands)
	}
	return out
}

type roex struct {
	from int
	w    []float64
}

func roexFilters(centres []float64, stepHz float64, top int) []roex {
	out := make([]roex, len(centres))
	for i, fc := range centres {
		p := 4 * fc / ERB(fc)
		reach := roexTail / p * fc
		from := max(1, int(math.Ceil((fc-reach)/stepHz)))
		to := min(top, int((fc+reach)/stepHz))
		out[i].from = from
		for k := from; k <= to; k++ {
			g := p * math.Abs(float64(k)*stepHz-fc) / fc
			out[i].w = append(out[i].w, (1+g)*math.Exp(-g))
		}
	}
	return out
}

func hann(n int) []float64 {
	w := make([]float64, n)
	for i := range w {
		w[i] = 0.5 - 0.5*math.Cos(2*math.Pi*(float64(i)+0.5)/float64(n))
	}
	return w
}
