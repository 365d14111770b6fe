package defect_test

import (
	"math"
	"testing"

	"tachbench/analysis/defect"
	"tachbench/samples"
)

// soundCase is a sound that must trip a rule or a near miss that must not.
type soundCase struct {
	rule, name string
	trips      bool
	take       func() take
}

const (
	trips  = true
	passes = false
)

// decay is a plain effect: a tone with a natural tail.
func decay(seconds float64) func(float64) float64 {
	return func(t float64) float64 {
		return 0.5 * min(t/0.004, 1) * math.Exp(-5*t/seconds) * (math.Sin(2*math.Pi*440*t) + 0.3*math.Sin(2*math.Pi*1333*t))
	}
}

var fullRound = func(f func(float64) float64) take { return mono(defect.Other, 2, f).round() }

var soundCases = []soundCase{
	{"clipped", "tone 3 dB over", trips, func() take { return fullRound(sine(440, 1.41)) }},
	{"clipped", "noise 6 dB over in 24 bit", trips, func() take {
		return mono(defect.Other, 2, noise(1, 0.7)).with(func(t *take) { t.depth = 24 }).round()
	}},
	{"clipped", "one rail only", trips, func() take { return fullRound(sum(sine(300, 0.8), func(float64) float64 { return 0.3 })) }},
	// Levels reference, section 8: 20 Hz at full scale and 16 bit rests on its top for up to 5 samples.
	{"clipped", "clean full-scale sine of 20 Hz", passes, func() take { return fullRound(sine(20, 32767.0/32768)) }},
	{"clipped", "clean full-scale sine of 3 Hz", passes, func() take { return fullRound(sine(3, 32767.0/32768)) }},
	{"clipped", "clean full-scale sine of 20 Hz in 8 bit", passes, func() take {
		return mono(defect.Other, 2, sine(20, 127.0/128)).with(func(t *take) { t.depth = 8 }).round()
	}},
	// Levels reference, section 8: legal, runs of 2.
	{"clipped", "quarter-rate sine at 45 degrees", passes, func() take {
		return fullRound(func(t float64) float64 { return 32767.0 / 32768 * math.Sqrt2 * math.Sin(2*math.Pi*12000*t+math.Pi/4) })
	}},
	{"clipped", "noise normalised to full scale", passes, func() take { return normalised(mono(defect.Other, 2, noise(2, 0.2))) }},
	{"clipped", "square wave at full scale", passes, func() take {
		return fullRound(func(t float64) float64 { return math.Copysign(32767.0/32768, math.Sin(2*math.Pi*220*t+0.1)) })
	}},

	{"clipped-then-turned-down", "clipped voice at -6 dB", trips, func() take {
		t := fullRound(voice(120, 4))
		return t.gain(0.5).round()
	}},
	{"clipped-then-turned-down", "clipped tone at -3.3 dB in 24 bit", trips, func() take {
		t := fullRound(sine(333, 1.3)).gain(0.684)
		t.depth = 24
		return t.round()
	}},
	{"clipped-then-turned-down", "clean tone at -6 dB", passes, func() take { return fullRound(sine(50, 0.5)) }},
	{"clipped-then-turned-down", "voice at -6 dB", passes, func() take { return fullRound(voice(120, 0.5)) }},
	{"clipped-then-turned-down", "sample-and-hold at a quarter of the rate", passes, func() take {
		n := noise(5, 0.15)
		v, k := 0.0, 0
		return fullRound(func(t float64) float64 {
			if k%4 == 0 {
				v = n(t)
			}
			k++
			return v
		})
	}},

	{"wrapped-around", "overload modulo full scale", trips, func() take {
		return fullRound(sine(200, 1.05)).edit(func(x []float64) {
			for i := range x {
				x[i] = 1.05 * math.Sin(2*math.Pi*200*float64(i)/48000)
				x[i] -= 2 * math.Round(x[i]/2)
			}
		})
	}},
	{"wrapped-around", "the same, clipped", passes, func() take { return fullRound(sine(200, 1.05)) }},
	{"wrapped-around", "full-scale sawtooth", passes, func() take {
		return fullRound(func(t float64) float64 { return 2*math.Mod(t*110, 1) - 1 })
	}},
	{"wrapped-around", "full-scale noise", passes, func() take { return fullRound(noise(3, 0.6)) }},

	{"fold-down-overload", "loud and alike on both sides", trips, func() take { return fullRound(sine(500, 0.8)).stereo(1) }},
	{"fold-down-overload", "the same 3 dB lower", passes, func() take { return fullRound(sine(500, 0.56)).stereo(1) }},
	{"fold-down-overload", "loud mono", passes, func() take { return fullRound(sine(500, 0.99)) }},

	{"fold-down-loss", "mostly side", trips, func() take {
		a, b := mono(defect.Other, 2, noise(1, 0.1)), mono(defect.Other, 2, noise(2, 0.1))
		for i, v := range a.Chans[0] {
			b.Chans[0][i] = -0.82*v + 0.57*b.Chans[0][i]
		}
		return a.beside(b).round()
	}},
	{"fold-down-loss", "nothing in common", passes, func() take {
		return mono(defect.Other, 2, noise(1, 0.1)).beside(mono(defect.Other, 2, noise(2, 0.1))).round()
	}},

	{"not-a-number", "one NaN", trips, func() take { return fullRound(sine(500, 0.1)).edit(func(x []float64) { x[777] = math.NaN() }) }},
	{"not-a-number", "over full scale but a number", passes, func() take { return fullRound(sine(500, 0.1)).edit(func(x []float64) { x[777] = 3 }) }},

	{"dc", "offset of 2 %", trips, func() take { return fullRound(sum(noise(1, 0.1), func(float64) float64 { return 0.02 })) }},
	{"dc", "offset of 0.5 %", passes, func() take { return fullRound(sum(noise(1, 0.1), func(float64) float64 { return 0.005 })) }},
	{"dc", "slow rumble, no offset", passes, func() take { return fullRound(sine(1.3, 0.5)) }},

	{"hum", "50 Hz and harmonics 36 dB under a voice", trips, func() take { return hummed(50, 0.003) }},
	{"hum", "60 Hz and harmonics 36 dB under a voice", trips, func() take { return hummed(60, 0.003) }},
	{"hum", "the same 60 dB under", passes, func() take { return hummed(50, 0.0002) }},
	{"hum", "noise in the pauses", passes, func() take { return mono(defect.Callout, 4, sum(voice(120, 0.3), noise(4, 0.004))).round() }},
	{"hum", "a voice at 100 Hz that lingers", passes, func() take {
		v := voice(100, 0.3)
		return mono(defect.Callout, 4, func(t float64) float64 {
			u := math.Mod(t, 0.6)
			return v(t) + 0.02*math.Exp(-max(u-0.3, 0)/0.08)*(math.Sin(2*math.Pi*100*t)+math.Sin(2*math.Pi*200*t))
		}).round()
	}},
	{"hum", "hum in an effect", passes, func() take { return hummed(50, 0.003).with(func(t *take) { t.kind = defect.Effect }) }},

	{"hiss", "voice over noise 25 dB under", trips, func() take { return hissed(25) }},
	{"hiss", "voice over noise 45 dB under", passes, func() take { return hissed(45) }},
	{"hiss", "gated voice", passes, func() take { return mono(defect.Callout, 4, voice(120, 0.3)).round() }},
	{"hiss", "breath that dies away", passes, func() take {
		v, n := voice(120, 0.3), noise(9, 0.006)
		return mono(defect.Callout, 4, func(t float64) float64 {
			u := math.Mod(t, 0.6)
			return v(t) + n(t)*math.Exp(-max(u-0.52, 0)/0.008)
		}).round()
	}},

	{"click", "one sample off in music", trips, func() take {
		return mono(defect.Music, 2, dull(1, 0.05, 400)).edit(func(x []float64) { x[50000] += 0.3 }).round()
	}},
	{"click", "a step in a tone", trips, func() take {
		return mono(defect.Effect, 2, func(t float64) float64 {
			if t > 1.0002 {
				t += 0.0007
			}
			return 0.4 * math.Sin(2*math.Pi*300*t)
		}).round()
	}},
	{"click", "a faint tick in a bright engine", trips, func() take {
		f := firing(26)
		return mono(defect.Engine, 2, func(t float64) float64 {
			return f(t) + 0.15*math.Sin(2*math.Pi*3100*t) + 0.1*math.Sin(2*math.Pi*4700*t)
		}).edit(func(x []float64) { x[50000] += 0.06 }).round()
	}},
	{"click", "the same engine without it", passes, func() take {
		f := firing(26)
		return mono(defect.Engine, 2, func(t float64) float64 {
			return f(t) + 0.15*math.Sin(2*math.Pi*3100*t) + 0.1*math.Sin(2*math.Pi*4700*t)
		}).round()
	}},
	{"click", "corners of clipped rumble", passes, func() take {
		b := brickwall(1500)
		return mono(defect.Engine, 2, func(t float64) float64 { return 13 * b(t) }).round()
	}},
	{"click", "a short knock", passes, func() take {
		return mono(defect.Music, 2, sum(dull(1, 0.005, 400), hit(0.5, 0.7, 0.001))).round()
	}},
	{"click", "a rattle of equal ticks", passes, func() take {
		return mono(defect.Engine, 2, dull(1, 0.05, 400)).edit(func(x []float64) {
			for i := 480; i < len(x); i += 720 {
				x[i] += 0.3
			}
		}).round()
	}},
	{"click", "a hard start after silence", passes, func() take {
		n := noise(1, 0.05)
		return mono(defect.Effect, 2, func(t float64) float64 {
			if t < 1 {
				return 0
			}
			if t < 1.00002 {
				return 0.9
			}
			return 0.4 * n(t)
		}).round()
	}},
	{"click", "drum hits over a bed", passes, func() take {
		return mono(defect.Music, 2, sum(dull(1, 0.02, 400), hit(0.5, 0.7, 0.03), hit(1.2, 0.5, 0.01))).round()
	}},
	{"click", "engine pulses", passes, func() take { return mono(defect.Engine, 2, firing(26)).round() }},
	{"click", "voice at 80 Hz", passes, func() take { return mono(defect.Callout, 3, voice(80, 0.3)).round() }},
	{"click", "noise", passes, func() take { return mono(defect.Effect, 3, noise(11, 0.1)).round() }},

	{"dropout", "8 ms of zeros in music", trips, func() take {
		return mono(defect.Music, 2, dull(1, 0.1, 900)).edit(func(x []float64) { clear(x[50000:50384]) }).round()
	}},
	{"dropout", "4 ms held", trips, func() take {
		return mono(defect.Music, 2, sum(dull(1, 0.1, 900), sine(100, 0.2))).edit(func(x []float64) {
			for i := 50000; i < 50192; i++ {
				x[i] = 0.03
			}
		}).round()
	}},
	{"dropout", "words with digital silence between", passes, func() take { return mono(defect.Callout, 3, voice(120, 0.3)).round() }},
	{"dropout", "square wave of 70 Hz", passes, func() take {
		return mono(defect.Effect, 2, func(t float64) float64 { return math.Copysign(0.4, math.Sin(2*math.Pi*70*t)) }).round()
	}},
	{"dropout", "three-level wave of 70 Hz", passes, func() take {
		return mono(defect.Effect, 2, func(t float64) float64 {
			return 0.4 * math.Round(math.Sin(2*math.Pi*70*t))
		}).round()
	}},
	{"dropout", "one clipped swell", passes, func() take { return mono(defect.Music, 2, swell(60)).round() }},
	{"dropout", "clipped bass", passes, func() take { return mono(defect.Music, 2, sine(40, 2)).round() }},

	{"click-at-start", "starts on the top of a wave", trips, func() take {
		return mono(defect.Effect, 1, func(t float64) float64 { return 0.5 * math.Exp(-6*t) * math.Cos(2*math.Pi*200*t) }).round()
	}},
	{"click-at-start", "starts with a crack of noise", passes, func() take {
		n := noise(4, 0.2)
		return mono(defect.Effect, 1, func(t float64) float64 { return math.Exp(-6*t) * n(t) }).round()
	}},
	{"click-at-start", "fades in over 2 ms", passes, func() take { return mono(defect.Effect, 1, decay(1)).round() }},

	{"click-at-end", "ends on the top of a wave", trips, func() take {
		return mono(defect.Effect, 1, func(t float64) float64 { return 0.5 * math.Cos(2*math.Pi*200*(t-1)) * min(t/0.01, 1) }).round()
	}},
	{"click-at-end", "ends at zero", passes, func() take { return mono(defect.Effect, 1, sine(200, 0.5)).round() }},
	{"click-at-end", "music that leads back into its start", passes, func() take {
		return mono(defect.Music, 1, func(t float64) float64 { return 0.5 * math.Cos(2*math.Pi*200*t) }).round()
	}},

	{"cut-off-tail", "stops at full level", trips, func() take { return mono(defect.Effect, 1, sine(200, 0.5)).round() }},
	{"cut-off-tail", "fades over 20 ms", passes, func() take { return mono(defect.Effect, 1, faded(sine(200, 0.5), 1, 0.02)).round() }},
	{"cut-off-tail", "natural tail", passes, func() take { return mono(defect.Effect, 1, decay(1)).round() }},
	{"cut-off-tail", "engine loop", passes, func() take { return mono(defect.Engine, 1, firing(40)).round() }},

	{"starts-late", "60 ms of silence first", trips, func() take {
		d := decay(1)
		return mono(defect.Effect, 1, func(t float64) float64 { return d(max(t-0.06, 0)) }).round()
	}},
	{"starts-late", "60 ms of faint noise first", trips, func() take {
		v := voice(120, 0.3)
		return mono(defect.Callout, 2, sum(noise(3, 0.0005), func(t float64) float64 { return v(max(t-0.06, 0)) })).round()
	}},
	{"starts-late", "20 ms of silence first", passes, func() take {
		d := decay(1)
		return mono(defect.Effect, 1, func(t float64) float64 { return d(max(t-0.02, 0)) }).round()
	}},
	{"starts-late", "music with a bar of rest", passes, func() take {
		d := decay(1)
		return mono(defect.Music, 2, func(t float64) float64 { return d(max(t-0.5, 0)) }).round()
	}},

	{"dead-tail", "2 s of silence last", trips, func() take { return mono(defect.Effect, 3, faded(sine(200, 0.5), 1, 0.02)).round() }},
	{"dead-tail", "0.7 s of silence last", passes, func() take { return mono(defect.Effect, 1.7, faded(sine(200, 0.5), 1, 0.02)).round() }},
	{"dead-tail", "a long quiet reverberation", passes, func() take { return mono(defect.Effect, 3, decay(4)).round() }},

	{"only-silence", "digital silence", trips, func() take { return mono(defect.Effect, 1, sine(200, 0)) }},
	{"only-silence", "dither", trips, func() take { return mono(defect.Effect, 1, noise(1, 0.3/32768)).round() }},
	{"only-silence", "a tone at -70 dBFS", passes, func() take { return mono(defect.Effect, 1, sine(200, 0.0004)).round() }},

	{"loop-points", "past the end", trips, func() take { return looped(sine(200, 0.3), 1, 100, 48001) }},
	{"loop-points", "end before start", trips, func() take { return looped(sine(200, 0.3), 1, 2000, 1000) }},
	{"loop-points", "to the very end", passes, func() take { return looped(sine(200, 0.3), 1, 0, 48000) }},

	{"loop-seam-click", "loop cut anywhere", trips, func() take { return looped(sine(200, 0.3), 1, 0, 48000-60) }},
	{"loop-seam-click", "whole file cut anywhere", trips, func() take {
		return mono(defect.Engine, 0.99, func(t float64) float64 { return firing(40.2)(t + 0.3) }).with(func(t *take) { t.whole = true }).round()
	}},
	{"loop-seam-click", "whole cycles", passes, func() take { return looped(sine(200, 0.3), 1, 1200, 48000-1200) }},
	{"loop-seam-click", "whole engine cycles", passes, func() take {
		return mono(defect.Engine, 1, func(t float64) float64 { return firing(40)(t + 0.3) }).with(func(t *take) { t.whole = true }).round()
	}},

	{"loop-seam-level", "decays along the loop", trips, func() take {
		return looped(func(t float64) float64 { return 0.5 * math.Exp(-t/2) * math.Sin(2*math.Pi*200*t) }, 2, 0, 96000)
	}},
	{"loop-seam-level", "steady", passes, func() take { return looped(sine(200, 0.3), 2, 0, 96000) }},
	{"loop-seam-level", "noise that wavers anyway", passes, func() take {
		n := dull(5, 0.2, 500)
		return looped(func(t float64) float64 { return n(t) * (1 + 0.6*math.Sin(2*math.Pi*4.3*t)) }, 3, 0, 144000)
	}},

	{"loop-seam-colour", "gets brighter along the loop", trips, func() take {
		b, n := dull(5, 0.1, 300), noise(6, 0.1)
		return looped(func(t float64) float64 { return (1-t/4)*b(t) + t/4*n(t) }, 4, 0, 192000)
	}},
	{"loop-seam-colour", "steady noise", passes, func() take { return looped(dull(5, 0.1, 300), 4, 0, 192000) }},

	{"loop-not-whole-cycles", "a third of a cycle off", trips, func() take { return looped(firing(50), 2, 0, 96000-640) }},
	{"loop-not-whole-cycles", "whole cycles", passes, func() take { return looped(firing(50), 2, 0, 96000) }},
	{"loop-not-whole-cycles", "odd number of pulses that differ a little", passes, func() take {
		return looped(firingUneven(50, 0.36), 2, 0, 96000-960)
	}},
	{"loop-not-whole-cycles", "noise has none", passes, func() take { return looped(dull(5, 0.1, 300), 2, 0, 96000-640) }},

	{"dead-channel", "silent right", trips, func() take { return fullRound(noise(1, 0.1)).stereo(0) }},
	{"dead-channel", "right 70 dB down", trips, func() take { return fullRound(noise(1, 0.1)).stereo(0.0003) }},
	{"dead-channel", "right 40 dB down", passes, func() take { return fullRound(noise(1, 0.1)).stereo(0.01) }},

	{"channels-identical", "copied", trips, func() take { return fullRound(noise(1, 0.1)).stereo(1) }},
	{"channels-identical", "copied, but for 1 % of something else", passes, func() take {
		return fullRound(noise(1, 0.1)).beside(mono(defect.Other, 2, sum(noise(1, 0.1), noise(2, 0.001))).round())
	}},

	{"opposite-polarity", "inverted", trips, func() take { return fullRound(noise(1, 0.1)).stereo(-1) }},
	{"opposite-polarity", "nothing in common", passes, func() take {
		return mono(defect.Other, 2, noise(1, 0.1)).beside(mono(defect.Other, 2, noise(2, 0.1))).round()
	}},

	{"narrow-band", "8 kHz source in a 48 kHz file", trips, func() take { return mono(defect.Other, 0.7, brickwall(3800)).round() }},
	{"narrow-band", "dull sound with a natural roll-off", passes, func() take { return fullRound(dull(1, 0.1, 500)) }},
	{"narrow-band", "bare tones", passes, func() take { return fullRound(sum(sine(400, 0.2), sine(1200, 0.1), sine(2000, 0.1))) }},
	{"narrow-band", "engine pulses", passes, func() take { return fullRound(firing(31)) }},
	{"narrow-band", "sweep", passes, func() take {
		return fullRound(func(t float64) float64 { return 0.4 * math.Sin(2*math.Pi*(100*t+500*t*t)) })
	}},
	{"narrow-band", "44.1 kHz source in a 48 kHz file", passes, func() take { return mono(defect.Other, 0.7, brickwall(20500)).round() }},
}

func looped(f func(float64) float64, seconds float64, start, end int64) take {
	return mono(defect.Engine, seconds, f).with(func(t *take) { t.loops = []samples.Loop{{Start: start, End: end}} }).round()
}

func hummed(mains, amplitude float64) take {
	return mono(defect.Callout, 4, sum(voice(117, 0.3), noise(4, 0.0003),
		sine(mains, amplitude), sine(2*mains, amplitude/2), sine(3*mains, amplitude/2))).round()
}

// hissed puts noise so many dB under the level of the words.
func hissed(db float64) take {
	v := mono(defect.Callout, 0.3, voice(120, 0.3))
	return mono(defect.Callout, 4, sum(voice(120, 0.3), noise(4, samples.RMS(v.Chans[0])*samples.DBAmplitude(-db)))).round()
}

func normalised(t take) take {
	top := 0.0
	for _, v := range t.Chans[0] {
		top = max(top, math.Abs(v))
	}
	return t.gain(32767.0 / 32768 / top).round()
}

// brickwall is noise under a steep cut-off.
func brickwall(cutHz float64) func(float64) float64 {
	n := noise(21, 1)
	const taps = 255
	h := make([]float64, taps)
	for i := range h {
		t := float64(i) - taps/2
		v := 2 * cutHz / 48000
		if t != 0 {
			v = math.Sin(2*math.Pi*cutHz/48000*t) / (math.Pi * t)
		}
		h[i] = v * (0.42 - 0.5*math.Cos(2*math.Pi*float64(i)/(taps-1)) + 0.08*math.Cos(4*math.Pi*float64(i)/(taps-1)))
	}
	ring := make([]float64, taps)
	at := 0
	return func(t float64) float64 {
		ring[at] = n(t)
		at = (at + 1) % taps
		v := 0.0
		for i, g := range h {
			v += g * ring[(at+i)%taps]
		}
		return 0.1 * v
	}
}

func TestRulesTripAndPass(t *testing.T) {
	for _, c := range soundCases {
		t.Run(c.rule+"/"+c.name, func(t *testing.T) {
			fs := c.take().scan(4096)
			got := false
			for _, f := range fs {
				got = got || f.Rule == c.rule
			}
			if got != c.trips {
				t.Errorf("found %v, want %v; all findings:", got, c.trips)
				for _, f := range fs {
					t.Logf("%s at %.4f ch %d: %g %s: %s", f.Rule, f.AtS, f.Channel, f.Value, f.Unit, f.Message)
				}
			}
		})
	}
}
