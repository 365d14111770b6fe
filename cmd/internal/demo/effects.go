package demo

import (
	"math"
	"math/rand/v2"

	"tachbench/samples"
)

// layer is one part of an effect: a tone or noise with a start, a decay and a
// glide. Frequencies in Hz, times in seconds.
type layer struct {
	at, length float64
	from, to   float64 // frequency at the start and at the end
	level      float64
	attack     float64
	decay      float64 // time constant; 0 holds until the fade at the end
	noise      bool
	q          float64 // of the noise band
	overtones  int     // partials of the tone, falling 6 dB an octave
	trem       float64 // tremolo rate
}

// effectRecipes are the demo's twenty effects. Invented for the demo.
var effectRecipes = []struct {
	name   string
	layers []layer
}{
	{"pull-cord", []layer{{0, 0.42, 500, 1700, 0.5, 0.02, 0, true, 1.2, 0, 38}, {0.36, 0.16, 120, 90, 0.7, 0.002, 0.05, false, 0, 3, 0}}},
	{"gate-up", []layer{{0, 0.9, 70, 110, 0.5, 0.05, 0, false, 0, 6, 22}, {0.82, 0.25, 240, 190, 0.8, 0.001, 0.06, true, 2, 0, 0}}},
	{"lamp-step", []layer{{0, 0.09, 1250, 1250, 0.6, 0.001, 0.025, false, 0, 3, 0}}},
	{"band-in", []layer{{0, 0.18, 880, 880, 0.5, 0.002, 0.09, false, 0, 4, 0}, {0.09, 0.28, 1320, 1320, 0.5, 0.002, 0.12, false, 0, 4, 0}}},
	{"band-out", []layer{{0, 0.3, 420, 250, 0.6, 0.002, 0.14, false, 0, 6, 0}}},
	{"count-tick", []layer{{0, 0.07, 2100, 2000, 0.5, 0.001, 0.02, false, 0, 2, 0}}},
	{"horn", []layer{{0, 0.85, 311, 311, 0.4, 0.03, 0, false, 0, 9, 0}, {0, 0.85, 370, 370, 0.4, 0.03, 0, false, 0, 9, 0}}},
	{"siren", []layer{{0, 1.4, 600, 1150, 0.5, 0.05, 0, false, 0, 5, 3}}},
	{"whoosh", []layer{{0, 0.75, 500, 3200, 0.9, 0.25, 0, true, 0.9, 0, 0}}},
	{"snow-spray", []layer{{0, 0.6, 6500, 2600, 0.8, 0.01, 0.2, true, 0.6, 0, 0}}},
	{"ice-crack", []layer{{0, 0.12, 3200, 2500, 0.9, 0.0005, 0.02, true, 3, 0, 0}, {0.05, 0.3, 1500, 700, 0.7, 0.0005, 0.06, true, 5, 0, 0}, {0.11, 0.35, 900, 400, 0.6, 0.001, 0.08, true, 6, 0, 0}}},
	{"landing", []layer{{0, 0.5, 95, 48, 1, 0.002, 0.12, false, 0, 2, 0}, {0, 0.3, 900, 300, 0.6, 0.001, 0.06, true, 0.8, 0, 0}}},
	{"dig", []layer{{0, 0.22, 1800, 900, 0.8, 0.01, 0.06, true, 1, 0, 0}, {0.26, 0.24, 1500, 800, 0.8, 0.01, 0.06, true, 1, 0, 0}}},
	{"winch", []layer{{0, 1.1, 140, 175, 0.5, 0.06, 0, false, 0, 8, 14}}},
	{"radio-open", []layer{{0, 0.16, 2400, 2200, 0.5, 0.001, 0.05, true, 0.7, 0, 0}, {0.03, 0.08, 1000, 1000, 0.4, 0.002, 0, false, 0, 1, 0}}},
	{"beacon", []layer{{0, 0.12, 2750, 2750, 0.45, 0.003, 0, false, 0, 1, 0}, {0.2, 0.12, 2750, 2750, 0.45, 0.003, 0, false, 0, 1, 0}}},
	{"avalanche-rumble", []layer{{0, 2.6, 90, 60, 1, 0.5, 1.1, true, 0.6, 0, 0}, {0.2, 2.2, 420, 260, 0.5, 0.4, 0.9, true, 0.6, 0, 5}}},
	{"bonus", []layer{{0, 0.2, 660, 660, 0.4, 0.002, 0.1, false, 0, 5, 0}, {0.1, 0.2, 880, 880, 0.4, 0.002, 0.1, false, 0, 5, 0}, {0.2, 0.2, 990, 990, 0.4, 0.002, 0.1, false, 0, 5, 0}, {0.3, 0.5, 1320, 1320, 0.45, 0.002, 0.2, false, 0, 5, 0}}},
	{"drain-out", []layer{{0, 0.8, 520, 130, 0.5, 0.004, 0.4, false, 0, 7, 6}}},
	{"kennel-bell", []layer{{0, 1.0, 1560, 1560, 0.4, 0.001, 0.3, false, 0, 1, 0}, {0, 0.8, 3920, 3920, 0.25, 0.001, 0.16, false, 0, 1, 0}, {0, 0.5, 6100, 6100, 0.15, 0.001, 0.08, false, 0, 1, 0}}},
}

// effect renders a recipe in mono.
func effect(layers []layer, rateHz int, seed uint64) *samples.Sound {
	rate := float64(rateHz)
	length := 0.0
	for _, l := range layers {
		length = math.Max(length, l.at+l.length)
	}
	s := samples.NewSound(rateHz, 1, int(math.Ceil(length*rate)))
	for i, l := range layers {
		rng := rand.New(rand.NewPCG(seed, uint64(i)))
		l.render(s.Chans[0][int(l.at*rate):], rate, rng)
	}
	scaleToPeak(s, -3)
	return s
}

func (l layer) render(dst []float64, rate float64, rng *rand.Rand) {
	n := min(len(dst), int(l.length*rate))
	f := newResonator(rate, l.from, math.Max(l.q, 0.3))
	phase := 0.0
	edge := int(math.Min(0.03, l.length/4) * rate)
	for i := 0; i < n; i++ {
		t := float64(i) / rate
		hz := l.from * math.Pow(l.to/l.from, t/l.length)
		env := l.level * math.Min(1, t/l.attack) * fadeOut(i, n, edge)
		if l.decay > 0 {
			env *= math.Exp(-math.Max(0, t-l.attack) / l.decay)
		}
		if l.trem > 0 {
			env *= 0.6 + 0.4*math.Cos(2*math.Pi*l.trem*t)
		}
		var v float64
		if l.noise {
			if i%32 == 0 {
				f.tune(rate, hz, l.q)
			}
			v = 2 * f.next(2*rng.Float64()-1)
		} else {
			phase += 2 * math.Pi * hz / rate
			for k := 1; k <= l.overtones && hz*float64(k) < 0.45*rate; k++ {
				v += math.Sin(phase*float64(k)) / float64(k)
			}
		}
		dst[i] += env * v
	}
}
