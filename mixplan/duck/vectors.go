package duck

import "tachbench/mixplan"

// Vector is a case with its answer, for checking another implementation.
type Vector struct {
	Name   string
	Shows  string // what it is there to catch
	RateHz int
	Rules  []mixplan.Duck // all on one category
	Speech []Speech
	Points []Point
}

// Speech is a stretch in which a sound of a category speaks.
type Speech struct {
	Category   string
	FromS, ToS float64
}

// Point is the attenuation of one frame.
type Point struct {
	Frame   int64
	BroadDB float64 // of the whole category
	DipDB   float64 // of its first band, beyond BroadDB
}

// DipVector is a dip that stands still: the filter and what it does.
type DipVector struct {
	RateHz     int
	Dip        mixplan.Dip
	DeepestDB  float64
	DepthDB    float64
	B0, A1, A2 float64 // of the band-pass, see the package comment
	Hz, GainDB []float64
	Impulse    []float64 // the first frames of the answer to 1, 0, 0, ...
}

const (
	vectorRateHz = 48000
	vectorStep   = 1200 // 25 ms
	vectorPoints = 121  // 3 s
)

// Vectors returns cases that together touch every sentence of the law. An
// implementation in double precision agrees within 1e-6 dB.
func Vectors() []Vector {
	duck := func(under string, depth, attack, hold, release, ahead float64) mixplan.Duck {
		return mixplan.Duck{Under: under, Category: "music", DepthDB: depth, AttackMS: attack, HoldMS: hold, ReleaseMS: release, LookaheadMS: ahead}
	}
	dip := func(d mixplan.Duck, low, high float64) mixplan.Duck {
		d.Dip = &mixplan.Dip{LowHz: low, HighHz: high}
		return d
	}
	say := func(category string, spans ...float64) []Speech {
		var out []Speech
		for i := 0; i < len(spans); i += 2 {
			out = append(out, Speech{category, spans[i], spans[i+1]})
		}
		return out
	}
	callout := duck("callout", 9, 60, 250, 500, 0)
	ahead := duck("callout", 9, 60, 250, 500, 80)
	effect := duck("effect", 4, 40, 100, 300, 0)
	cases := []Vector{
		{Name: "once", Shows: "attack, hold and release of one stretch", Rules: []mixplan.Duck{callout}, Speech: say("callout", 0.5, 1.2)},
		{Name: "look-ahead", Shows: "the attack begins before the speech", Rules: []mixplan.Duck{ahead}, Speech: say("callout", 0.5, 1.2)},
		{Name: "from the start", Shows: "look-ahead is cut off at frame 0", Rules: []mixplan.Duck{ahead}, Speech: say("callout", 0.03, 0.6)},
		{Name: "pause bridged", Shows: "a pause shorter than hold plus look-ahead does not let go", Rules: []mixplan.Duck{ahead}, Speech: say("callout", 0.4, 0.8, 1.1, 1.5)},
		{Name: "retrigger", Shows: "a stretch during the release turns the ramp round where it is", Rules: []mixplan.Duck{callout}, Speech: say("callout", 0.3, 0.7, 1.2, 1.4)},
		{Name: "shorter than the attack", Shows: "without hold a short sound never reaches the full depth", Rules: []mixplan.Duck{duck("callout", 9, 300, 0, 500, 0)}, Speech: say("callout", 0.5, 0.6)},
		{Name: "overlap", Shows: "two at once are one: depths do not add", Rules: []mixplan.Duck{callout}, Speech: say("callout", 0.4, 1.0, 0.7, 1.4)},
		{Name: "two rules", Shows: "each rule runs for itself, the deepest wins", Rules: []mixplan.Duck{callout, effect}, Speech: append(say("callout", 0.8, 1.2), say("effect", 0.2, 0.9, 1.6, 2.4)...)},
		{Name: "a band beside the whole", Shows: "a band only takes what the whole has not taken yet", Rules: []mixplan.Duck{effect, dip(callout, 500, 4000)}, Speech: append(say("callout", 0.8, 1.2), say("effect", 0.2, 0.9, 1.6, 2.4)...)},
		{Name: "nobody", Shows: "what nobody yields to changes nothing", Rules: []mixplan.Duck{callout}, Speech: say("music", 0.5, 1)},
	}
	for i := range cases {
		cases[i].RateHz = vectorRateHz
		cases[i].answer()
	}
	return cases
}

// answer runs the law over a case.
func (v *Vector) answer() {
	c := New(v.RateHz, "music", v.Rules)
	for _, s := range v.Speech {
		c.Speak(s.Category, s.FromS, s.ToS)
	}
	frames := vectorStep*(vectorPoints-1) + 1
	broad, dips := make([]float64, frames), [][]float64{}
	for range c.Bands() {
		dips = append(dips, make([]float64, frames))
	}
	c.Next(broad, dips...)
	for n := 0; n < frames; n += vectorStep {
		p := Point{Frame: int64(n), BroadDB: broad[n]}
		if len(dips) > 0 {
			p.DipDB = dips[0][n]
		}
		v.Points = append(v.Points, p)
	}
}

// DipVectors returns dips that stand still.
func DipVectors() []DipVector {
	var out []DipVector
	for _, c := range []struct {
		rate           int
		low, high      float64
		deepest, depth float64
	}{
		{48000, 500, 4000, 9, 9}, {48000, 500, 4000, 9, 4}, {44100, 1000, 2000, 12, 12}, {32000, 300, 3400, 6, 6},
	} {
		d := mixplan.Dip{LowHz: c.low, HighHz: c.high}
		s := newShape(c.rate, d, c.deepest)
		v := DipVector{RateHz: c.rate, Dip: d, DeepestDB: c.deepest, DepthDB: c.depth, B0: s.b0, A1: s.a1, A2: s.a2}
		for _, hz := range []float64{100, 250, 500, 1000, 1500, 2000, 4000, 8000, 12000} {
			v.Hz = append(v.Hz, hz)
			v.GainDB = append(v.GainDB, ResponseDB(c.rate, d, c.deepest, c.depth, hz))
		}
		v.Impulse = make([]float64, 16)
		v.Impulse[0] = 1
		gain := make([]float64, len(v.Impulse))
		for i := range gain {
			gain[i] = c.depth
		}
		gains(gain)
		s.run(&state{}, v.Impulse, gain)
		out = append(out, v)
	}
	return out
}
