package demo

import (
	"math/rand/v2"

	"tachbench/samples"
)

// bed is one music bed: eight bars in four-four time that loop.
type bed struct {
	name   string
	bpm    float64
	root   int   // semitones above A 110 Hz
	chords []int // root of each of eight bars, semitones above the bed's root
	minor  bool
	drums  int // 0 none, 1 light, 2 driving
	busy   int // plucked notes a bar
}

var beds = []bed{
	{"base-camp", 80, 3, []int{0, 0, -4, -4, 3, 3, -2, -2}, true, 0, 4},
	{"ridge-run", 128, 0, []int{0, 0, 3, 5, 0, 0, -2, -4}, true, 2, 8},
	{"whiteout", 144, -2, []int{0, 0, 1, 1, 0, 0, -2, 1}, true, 2, 8},
	{"homeward", 112, 5, []int{0, 5, -3, -5, 0, 5, 7, 7}, false, 1, 8},
}

// music renders a bed. It is plain on purpose: something with bass, drums and
// a middle that callouts have to be understood over.
func music(b bed, rateHz int, seed uint64) *samples.Sound {
	rng := rand.New(rand.NewPCG(seed, uint64(len(b.name))<<8+uint64(b.root+32)))
	beat := 60 / b.bpm
	bar := 4 * beat
	t := newLoopTrack(rateHz, bar*float64(len(b.chords)))
	rate := float64(rateHz)
	third := 4
	if b.minor {
		third = 3
	}
	scale := []int{0, third, 7, 12, 12 + third, 7, 19, 12}
	k, s, h := kick(rate), snare(rate, rng), hat(rate, rng)
	for i, c := range b.chords {
		at := float64(i) * bar
		root := b.root + c
		for j, n := range []int{0, third, 7} {
			t.add(at, pad(rate, noteHz(root+12+n), bar*1.25, rng), 0.10, 0.25+0.25*float64(j))
		}
		for j := 0; j < 4; j++ {
			if b.drums > 0 || j%2 == 0 {
				t.add(at+float64(j)*beat, bass(rate, noteHz(root-12), beat*0.95), 0.34, 0.5)
			}
		}
		step := bar / float64(b.busy)
		for j := 0; j < b.busy; j++ {
			n := scale[(j*3+i+rng.IntN(2))%len(scale)]
			t.add(at+float64(j)*step, pluck(rate, noteHz(root+12+n), 0.9, 0.45, rng), 0.16, 0.3+0.4*rng.Float64())
		}
		for j := 0; j < 8 && b.drums > 0; j++ {
			x := at + float64(j)*beat/2
			if j == 0 || j == 4 || b.drums == 2 && j == 3 {
				t.add(x, k, 0.55, 0.5)
			}
			if j == 2 || j == 6 {
				t.add(x, s, 0.30, 0.5)
			}
			if b.drums == 2 || j%2 == 1 {
				t.add(x, h, 0.16, 0.62)
			}
		}
	}
	return t.finish(-4)
}
