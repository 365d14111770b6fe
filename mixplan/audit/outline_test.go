package audit

import (
	"crypto/sha256"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"tachbench/samples"
	"tachbench/samples/tone"
)

// describe writes a result out, for comparing. NaN would differ from itself.
func describe(r *Result) string {
	out := ""
	for i := range r.Sounds {
		s := r.Sounds[i]
		s.content = ""
		chart, speech := s.Chart, s.Speech
		s.Chart, s.Speech = nil, nil
		out += fmt.Sprintf("%+v %+v %x\n", s, speech, sha256.Sum256(fmt.Append(nil, chart)))
	}
	return out + fmt.Sprintf("%+v %+v %+v", r.Package, r.Unreadable, r.Categories)
}

// Whatever the blocks, and as a plain count over the whole sound has it.
func TestOutline(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	for _, frames := range []int{1, 2, 799, 800, 801, 1601, 48000, 100003} {
		s := tone.White(48000, 2, float64(frames)/48000, 0.2, 9)
		s = s.Slice(0, min(frames, s.Frames()))
		n := s.Frames()
		if n == 0 {
			s = samples.NewSound(48000, 2, 1)
			n = 1
		}
		o := newOutline(true)
		for at := 0; at < n; {
			k := min(1+rng.IntN(700), n-at)
			o.write(s.Slice(at, at+k).Chans)
			at += k
		}
		whole := newOutline(true)
		whole.write(s.Chans)
		if fmt.Sprintf("%v %d", o.cols, o.per) != fmt.Sprintf("%v %d", whole.cols, whole.per) || o.first != whole.first || o.last != whole.last {
			t.Fatalf("%d frames: blocks matter", n)
		}
		if len(o.cols) > chartColumns || n >= chartColumns && len(o.cols) < chartColumns/2 {
			t.Errorf("%d frames: %d columns", n, len(o.cols))
		}
		for i, c := range o.cols {
			lo, hi := math.Inf(1), math.Inf(-1)
			for f := i * int(o.per); f < min((i+1)*int(o.per), n); f++ {
				for _, ch := range s.Chans {
					lo, hi = min(lo, ch[f]), max(hi, ch[f])
				}
			}
			if c.Min != float32(lo) || c.Max != float32(hi) {
				t.Fatalf("%d frames, column %d: %v, want %g..%g", n, i, c, lo, hi)
			}
		}
	}
}

func TestEndsAndStereo(t *testing.T) {
	a := tone.Sine(48000, 1, 1000, 0.5, 0)
	left := a.Chans[0]
	for i := range left {
		if i < 4800 || i >= 48000-2400 {
			left[i] = 0
		}
	}
	inverse := make([]float64, len(left))
	for i, v := range left {
		inverse[i] = -v
	}
	other := tone.Sine(48000, 1, 2000, 0.5, 0).Chans[0]
	for _, c := range []struct {
		name       string
		right      []float64
		corr, loss float64
	}{
		{"same", left, 1, -3.0103},
		{"inverse", inverse, -1, math.NaN()},
		{"unlike", other, 0, 0},
		{"silent", make([]float64, len(left)), math.NaN(), math.NaN()},
	} {
		o := newOutline(false)
		o.write([][]float64{left, c.right})
		st := o.stereo()
		near := func(a, b float64) bool { return math.IsNaN(a) && math.IsNaN(b) || math.Abs(a-b) < 1e-3 }
		if !near(st.Correlation, c.corr) || !near(st.FoldLossDB, c.loss) && !(c.name == "inverse" && st.FoldLossDB > 100) {
			t.Errorf("%s: %+v", c.name, st)
		}
	}
	o := newOutline(false)
	o.write([][]float64{left})
	// The sine crosses zero at both cuts; the next sample is loud enough.
	if e := o.ends(48000); math.Abs(e.LeadS-0.1) > 0.0001 || math.Abs(e.TailS-0.05) > 0.0001 {
		t.Errorf("%+v", e)
	}
	o = newOutline(false)
	o.write([][]float64{{0, 0, 0.5, 0}, {0, 0, 0, 0}})
	if e := o.ends(1); e.LeadS != 2 || e.TailS != 1 {
		t.Errorf("one sample: %+v", e)
	}
	o = newOutline(false)
	o.write([][]float64{make([]float64, 4800)})
	if e := o.ends(48000); e.LeadS != 0.1 || e.TailS != 0 {
		t.Errorf("silence: %+v", e)
	}
}

func TestThin(t *testing.T) {
	v := make([]float64, 2000)
	for i := range v {
		v[i] = math.Inf(-1)
	}
	v[1234] = -7
	out, run := thin(v)
	if len(out) > loudnessPoints || run != 4 || out[1234/4] != -7 || !math.IsInf(out[0], -1) {
		t.Errorf("%d values in runs of %d, %g", len(out), run, out[1234/4])
	}
}
