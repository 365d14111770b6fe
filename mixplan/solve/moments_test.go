package solve

import (
	"context"
	"math"
	"math/rand/v2"
	"testing"

	"tachbench/analysis/sii"
	"tachbench/mixplan"
	"tachbench/mixplan/meet"
	"tachbench/mixplan/scene"
	"tachbench/samples"
	"tachbench/samples/tone"
)

// trimDB is what the plan of halved takes from the bed all the time.
const trimDB = -3

// halved is a callout under a steady bed of known power that yields, by 18 dB,
// to its first half only.
func halved(t *testing.T) (*meet.Package, *Result) {
	t.Helper()
	sh := pack(t, map[string]*samples.Sound{
		"callout-a": talk(4, -22, sii.Loud, 1), "callout-silent": tone.Silence(rate, 1, 1), "music-a": tone.Pink(rate, 9, 0.05, 5),
	}, listeningIn(50))
	pkg, err := meet.Read(context.Background(), sh, meet.Options{})
	if err != nil {
		t.Fatal(err)
	}
	c, bed := pkg.Callouts[0], pkg.Buses[0].Sounds[0]
	for i := range c.Active {
		c.Active[i] = true
	}
	const releaseS = 0.5
	c.Spans = []scene.Span{{FromS: 0, ToS: c.DurationS/2 - releaseS/2}}
	for i := range bed.Power {
		bed.Power[i] = steady(c)
	}
	plan := &mixplan.Plan{Title: "Test", Trims: []mixplan.Trim{{Category: "music", TrimDB: trimDB}}, Ducks: []mixplan.Duck{{
		Under: meet.Callout, Category: "music", DepthDB: 18, AttackMS: 180, LookaheadMS: 180, ReleaseMS: 1000 * releaseS,
	}}}
	r, err := Check(context.Background(), pkg, sh, plan, Options{Seed: 1})
	if err != nil {
		t.Fatal(err)
	}
	return pkg, r
}

// steady is noise 3 dB over the spectrum of a callout, in its own bands.
func steady(c *meet.Sound) (m sii.Masker) {
	for i, e := range c.Speech {
		m[sii.LowBands+i] = samples.DBPower(e + 3)
	}
	return m
}

// Half of a callout is masked by noise of known levels: there the index is that
// of ANSI S3.5 for these levels, and that is the weakest tenth, while the mean
// lies half way to what the other half reaches.
func TestWeakTenthIsTheMaskedHalf(t *testing.T) {
	pkg, r := halved(t)
	c := r.Callouts[0]
	by := func(duckDB float64) float64 {
		m := pkg.Hall
		for k, p := range steady(c.Sound) {
			m[k] = m[k] + p*samples.DBPower(-duckDB)
		}
		v, _ := sii.IndexMasked(c.Sound.Speech, maskerLevels(m), sii.Levels{}, sii.AverageSpeech)
		return v
	}
	plain, masked, open := by(0), by(-trimDB), by(18-trimDB)
	if open-masked < 0.4 {
		t.Fatalf("masked %.3f, ducked %.3f: the case says nothing", masked, open)
	}
	if math.Abs(c.WeakPlanned-masked) > 0.01 || math.Abs(c.WeakPlain-plain) > 0.01 {
		t.Errorf("weak tenth %.4f, without the plan %.4f, by the standard %.4f and %.4f", c.WeakPlanned, c.WeakPlain, masked, plain)
	}
	if math.Abs(c.Planned.Median-(masked+open)/2) > 0.03 {
		t.Errorf("mean %.4f of %.4f and %.4f", c.Planned.Median, masked, open)
	}
	if !(c.WeakestAtS > c.Sound.DurationS/2 && c.WeakestAtS < c.Sound.DurationS) {
		t.Errorf("weakest at %.3f s of %.3f, everything yields to the first half", c.WeakestAtS, c.Sound.DurationS)
	}
	if math.Abs(c.WeakestBelow-(open-masked)/2) > 0.03 {
		t.Errorf("%.3f under the mean, %.3f and %.3f by the standard", c.WeakestBelow, masked, open)
	}
	if c = r.Callouts[1]; !math.IsNaN(c.WeakestBelow) || !math.IsNaN(c.WeakPlain) || !math.IsNaN(c.WeakPlanned) || !math.IsNaN(c.WeakestAtS) {
		t.Errorf("silent: %.3f, %.3f at %.3f", c.WeakPlain, c.WeakPlanned, c.WeakestAtS)
	}
}

// Without trims nothing but yielding sets the plan apart from the package as
// it came: a deeper duck never lowers the weakest tenth, and no depth brings it
// under that without a plan or over the middle of the moments.
func TestDeeperNeverLowersTheWeakTenth(t *testing.T) {
	sh := pack(t, sounds(), listeningIn(66))
	pkg, err := meet.Read(context.Background(), sh, meet.Options{})
	if err != nil {
		t.Fatal(err)
	}
	r, prepared := begin(pkg, Options{Seed: 2})
	r.Plan = &mixplan.Plan{}
	plain := newProblem(pkg, pkg.Hall, prepared, r.Target, 0).weak()
	random := rand.New(rand.NewPCG(1, 2))
	for i := range pkg.Callouts {
		last := plain[i]
		var depth [2]float64
		for range 12 {
			depth[random.IntN(2)] += 4 * random.Float64()
			r.Plan.Ducks = nil
			for b, d := range depth {
				r.Plan.Ducks = append(r.Plan.Ducks, mixplan.Duck{Under: meet.Callout, Category: pkg.Buses[b].Category,
					DepthDB: d, AttackMS: 300, ReleaseMS: 500, HoldMS: 100, LookaheadMS: 50})
			}
			m := r.courseOf(pkg, i, r.meetings(pkg, i)).moments(pkg, prepared[i], i, &pkg.Hall, 0)
			if v := m.weak(); v < last-1e-9 || v > median(m.index) {
				t.Fatalf("%s at %.1f dB: weak tenth %.6f after %.6f, the middle moment %.6f", pkg.Callouts[i].Path, depth, v, last, median(m.index))
			} else {
				last = v
			}
			for k, v := range m.means() {
				gains := r.courseOf(pkg, i, nil).gains[0]
				if w := prepared[i].Index(k, &pkg.Hall, gains...); v != w {
					t.Fatalf("meeting %d: mean of the moments %.12f, index %.12f", k, v, w)
				}
				if k == 3 {
					break
				}
			}
		}
		if last < plain[i]+0.02 {
			t.Errorf("%s: %.3f to %.3f: the case says nothing", pkg.Callouts[i].Path, plain[i], last)
		}
	}
}
