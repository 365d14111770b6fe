package audit

import (
	"math"

	"tachbench/samples"
)

// SilenceDBFS: samples under this level count as silence at the ends. Common
// practice, no source; the rules for late starts use a limit relative to the
// sound instead.
const SilenceDBFS = -60

var silence = samples.DBAmplitude(SilenceDBFS)

// Ends is the silence at both ends, in seconds; the whole length at the start
// if nothing is louder.
type Ends struct{ LeadS, TailS float64 }

// Stereo compares the two channels of a stereo file; NaN for others and for
// silence.
type Stereo struct {
	// Correlation is Σab/√(Σa²·Σb²), -1..1.
	Correlation float64
	// FoldLossDB is what is lost when both channels are added, against two
	// channels that have nothing in common: 10·log10((Σa²+Σb²)/Σ(a+b)²).
	// -3 for identical channels, 0 for unlike ones.
	FoldLossDB float64
}

// Chart is what a picture of the sound needs.
type Chart struct {
	// Wave holds the smallest and largest sample of any channel in each
	// column; a column is WaveStepS long, the last may be shorter.
	Wave      []Column
	WaveStepS float64
	// Loudness runs over time: short-term values (3 s), or momentary ones
	// (0.4 s) if the sound is shorter than 3 s. Value i belongs to the window
	// that begins at i·LoudnessStepS; -Inf is silence. Long runs are thinned
	// to the loudest value of each step.
	Loudness        []float64
	LoudnessStepS   float64
	LoudnessWindowS float64
}

// Column is the range of samples in one column.
type Column struct{ Min, Max float32 }

// chartColumns is how many columns a waveform has at most, and at least half
// as many.
const chartColumns = 800

// outline follows the waveform. Its columns double in length whenever they
// are used up, so that memory is constant and the length need not be known.
type outline struct {
	frames      int64
	first, last int64 // first and last frame that is no silence; -1 none
	aa, bb, ab  float64

	cols []Column // nil if no chart is wanted
	per  int64    // frames a column
	have int64    // frames in the last column
}

func newOutline(chart bool) *outline {
	o := &outline{first: -1, last: -1, per: 1}
	if chart {
		o.cols = make([]Column, 0, chartColumns)
	}
	return o
}

// write takes in the next frames. Samples must be usable.
func (o *outline) write(block [][]float64) {
	n := len(block[0])
	for _, ch := range block {
		for i, v := range ch {
			if math.Abs(v) >= silence {
				if at := o.frames + int64(i); o.first < 0 || at < o.first {
					o.first = at
				}
				break
			}
		}
		for i := n - 1; i >= 0; i-- {
			if math.Abs(ch[i]) >= silence {
				o.last = max(o.last, o.frames+int64(i))
				break
			}
		}
	}
	if len(block) == 2 {
		a, b := block[0], block[1][:n]
		for i, x := range a {
			y := b[i]
			o.aa += x * x
			o.bb += y * y
			o.ab += x * y
		}
	}
	if o.cols != nil {
		o.draw(block)
	}
	o.frames += int64(n)
}

// draw adds the block to the columns.
func (o *outline) draw(block [][]float64) {
	n := len(block[0])
	for i := 0; i < n; {
		if len(o.cols) == 0 || o.have == o.per {
			if len(o.cols) == chartColumns {
				o.halve()
				continue
			}
			v := float32(block[0][i])
			o.cols = append(o.cols, Column{v, v})
			o.have = 0
		}
		step := int(min(o.per-o.have, int64(n-i)))
		lo, hi := block[0][i], block[0][i]
		for _, ch := range block {
			for _, v := range ch[i : i+step] {
				lo, hi = min(lo, v), max(hi, v)
			}
		}
		c := &o.cols[len(o.cols)-1]
		c.Min, c.Max = min(c.Min, float32(lo)), max(c.Max, float32(hi))
		o.have += int64(step)
		i += step
	}
}

// halve joins columns two by two.
func (o *outline) halve() {
	for i := range len(o.cols) / 2 {
		a, b := o.cols[2*i], o.cols[2*i+1]
		o.cols[i] = Column{min(a.Min, b.Min), max(a.Max, b.Max)}
	}
	o.cols = o.cols[:len(o.cols)/2]
	o.per *= 2
	o.have = o.per
}

func (o *outline) ends(rateHz int) Ends {
	rate := float64(rateHz)
	if o.first < 0 {
		return Ends{LeadS: float64(o.frames) / rate}
	}
	return Ends{LeadS: float64(o.first) / rate, TailS: float64(o.frames-1-o.last) / rate}
}

func (o *outline) stereo() Stereo {
	s := Stereo{math.NaN(), math.NaN()}
	if o.aa > 0 && o.bb > 0 {
		s.Correlation = o.ab / math.Sqrt(o.aa*o.bb)
		if sum := o.aa + o.bb + 2*o.ab; sum > 0 {
			s.FoldLossDB = samples.PowerDB((o.aa + o.bb) / sum)
		}
	}
	return s
}

// loudnessPoints is how many values a loudness chart has at most.
const loudnessPoints = 600

// thin keeps the loudest value of each run of equal length, so that at most
// loudnessPoints are left. It returns the length of the runs.
func thin(v []float64) ([]float64, int) {
	run := (len(v) + loudnessPoints - 1) / loudnessPoints
	if run <= 1 {
		return v, 1
	}
	out := make([]float64, 0, loudnessPoints)
	for i := 0; i < len(v); i += run {
		top := math.Inf(-1)
		for _, x := range v[i:min(i+run, len(v))] {
			top = max(top, x)
		}
		out = append(out, top)
	}
	return out, run
}
