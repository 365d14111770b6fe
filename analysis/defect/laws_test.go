package defect_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"tachbench/analysis/defect"
	"tachbench/samples"
)

// TestBlockSizeDoesNotMatter runs all sounds of the tables again in odd blocks.
func TestBlockSizeDoesNotMatter(t *testing.T) {
	for i, c := range soundCases {
		k := c.take()
		a := fmt.Sprintf("%+v", k.scan(4096))
		for _, n := range []int{997, k.Frames()}[:1+i%2] {
			if b := fmt.Sprintf("%+v", k.scan(n)); a != b {
				t.Errorf("%s/%s: blocks of 4096 and %d differ:\n%s\n%s", c.rule, c.name, n, a, b)
			}
		}
	}
	k := soundCases[0].take()
	if a, b := fmt.Sprintf("%+v", k.scan(4096)), fmt.Sprintf("%+v", k.scan(1)); a != b {
		t.Errorf("blocks of 4096 and 1 differ:\n%s\n%s", a, b)
	}
}

// TestOtherRates makes the same defects at other rates.
func TestOtherRates(t *testing.T) {
	for _, rate := range []int{8000, 11025, 22050, 44100, 96000, 192000} {
		x := at(rate, defect.Callout, 1, voice(117, 0.3)).edit(func(x []float64) {
			copy(x[rate/20:], x)
			clear(x[:rate/20]) // 50 ms late
		}).round()
		want(t, rate, x, "starts-late", 0, true)
		x = at(rate, defect.Effect, 2, sine(200, 1.3)).round()
		want(t, rate, x, "clipped", 0, true)
		x = at(rate, defect.Effect, 2, sine(200, 0.999)).round()
		want(t, rate, x, "clipped", 0, false)
		x = at(rate, defect.Music, 2, sum(sine(200, 0.3), sine(90, 0.2))).edit(func(x []float64) { x[rate] += 0.2 }).round()
		want(t, rate, x, "click", 1, true)
		x = at(rate, defect.Music, 2, sum(sine(210, 0.3), sine(90, 0.2))).edit(func(x []float64) { clear(x[rate+rate/700 : rate+rate/50]) }).round()
		want(t, rate, x, "dropout", 1+1.0/700, true)
		x = at(rate, defect.Callout, 2.5, sum(voice(117, 0.3), noise(3, 0.0003), sine(50, 0.003), sine(100, 0.002), sine(150, 0.002))).round()
		want(t, rate, x, "hum", math.NaN(), true)
	}
}

func want(t *testing.T, rate int, x take, rule string, atS float64, want bool) {
	t.Helper()
	fs := x.scan(4096)
	for _, f := range fs {
		if f.Rule == rule {
			if !want {
				t.Errorf("%d Hz: %s found: %s", rate, rule, f.Message)
			} else if atS > 0 && math.Abs(f.AtS-atS) > 0.0015 {
				t.Errorf("%d Hz: %s at %.4f s, want %.4f", rate, rule, f.AtS, atS)
			}
			return
		}
	}
	if want {
		t.Errorf("%d Hz: %s not found in %+v", rate, rule, fs)
	}
}

func TestSmallAndWide(t *testing.T) {
	for _, channels := range []int{1, 2, 6, 16} {
		for _, frames := range []int{0, 1, 2, 3, 47, 48, 49, 479, 481, 577, 2001} {
			s := samples.NewSound(48000, channels, frames)
			rng := rand.New(rand.NewPCG(uint64(frames), uint64(channels)))
			for _, ch := range s.Chans {
				for i := range ch {
					ch[i] = 0.1 * rng.NormFloat64()
				}
			}
			k := take{Sound: *s, depth: 16, whole: true, loops: []samples.Loop{{Start: 0, End: int64(frames)}, {Start: -5, End: 1 << 50}}}
			check(t, k.scan(100), s.DurationS(), channels)
			k.loops = nil
			check(t, k.scan(100), s.DurationS(), channels)
		}
	}
	if fs := (take{Sound: *samples.NewSound(8000, 1, 0), depth: 16}).scan(10); fs != nil {
		t.Errorf("an empty sound gives %+v", fs)
	}
}

// check asserts what holds for all findings.
func check(t *testing.T, fs []defect.Finding, lengthS float64, channels int) {
	t.Helper()
	for _, f := range fs {
		r, ok := defect.RuleByID(f.Rule)
		switch {
		case !ok:
			t.Errorf("unknown rule in %+v", f)
		case f.Severity > r.Severity:
			t.Errorf("severity over the rule's in %+v", f)
		case f.AtS < 0 || f.AtS > lengthS:
			t.Errorf("place outside of the %g s in %+v", lengthS, f)
		case f.Channel < -1 || f.Channel >= channels:
			t.Errorf("channel outside of %d in %+v", channels, f)
		case math.IsInf(f.Value, 0) || math.IsInf(f.Limit, 0):
			t.Errorf("infinite number in %+v", f)
		case math.IsNaN(f.Value) && !valueless[f.Rule]:
			t.Errorf("no value in %+v", f)
		case f.Message == "":
			t.Errorf("no message in %+v", f)
		}
	}
	for i := 1; i < len(fs); i++ {
		if fs[i].Severity > fs[i-1].Severity {
			t.Errorf("%s (%v) after %s (%v)", fs[i].Rule, fs[i].Severity, fs[i-1].Rule, fs[i-1].Severity)
		}
	}
}

// valueless rules may come without a number: their message says why.
var valueless = map[string]bool{"only-silence": true, "dead-channel": true, "channels-identical": true, "fold-down-loss": true, "loop-points": true}

func FuzzScan(f *testing.F) {
	f.Add(uint64(1), uint16(1000), uint8(2), uint32(48000), int64(10), int64(900), uint8(1))
	f.Add(uint64(2), uint16(40000), uint8(1), uint32(8000), int64(0), int64(40000), uint8(200))
	f.Add(uint64(3), uint16(9000), uint8(6), uint32(44100), int64(-1), int64(1<<40), uint8(47))
	f.Fuzz(func(t *testing.T, seed uint64, frames uint16, channels uint8, rate uint32, start, end int64, style uint8) {
		rng := rand.New(rand.NewPCG(seed, 3))
		ch, hz := int(channels)%17+1, int(rate)%188001+4000
		s := samples.NewSound(hz, ch, int(frames))
		for _, x := range s.Chans {
			v := 0.0
			for i := range x {
				switch rng.IntN(int(style) + 2) {
				case 0:
					v = rng.NormFloat64()
				case 1:
					v = -v
				case 2:
					v = 0
				case 100:
					v = math.NaN()
				case 101:
					v = math.Inf(1)
				case 102:
					v = samples.MaxMagnitude
				case 103:
					v = 1e-300
				}
				x[i] = v
			}
		}
		k := take{Sound: *s, depth: []int{0, 8, 16, 24}[style%4], kind: defect.Kind(style % 5), whole: style&64 != 0,
			loops: []samples.Loop{{Start: start, End: end}}[:style>>7]}
		a := k.scan(rng.IntN(2000) + 1)
		check(t, a, s.DurationS(), ch)
		if b := k.scan(rng.IntN(2000) + 1); fmt.Sprintf("%+v", a) != fmt.Sprintf("%+v", b) {
			t.Errorf("blocks matter:\n%+v\n%+v", a, b)
		}
	})
}
