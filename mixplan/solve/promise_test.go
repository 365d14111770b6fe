package solve

import (
	"context"
	"math"
	"strings"
	"testing"

	"tachbench/analysis/sii"
	"tachbench/mixplan"
	"tachbench/mixplan/meet"
	"tachbench/samples"
	"tachbench/samples/resample"
	"tachbench/samples/tone"
)

// What the package promises and the render does is the same sound in the same
// place: with files at other rates and with more channels than the machine's,
// with sounds shorter than a frame or on the edge of a callout, with one that
// meets itself, under ducks of all frequencies and of a band.
func TestPromiseOfAnySound(t *testing.T) {
	short := tone.Pink(rate, 0.03, 0.05, 4)
	six := samples.NewSound(rate, 6, int(1.4*rate))
	for c := range six.Chans {
		copy(six.Chans[c], talk(1.4, -30, sii.Loud, uint64(20+c)).Chans[0])
	}
	wide := samples.NewSound(44100, 4, 44100)
	for c := range wide.Chans {
		copy(wide.Chans[c], tone.White(44100, 1, 1, 0.05, uint64(30+c)).Chans[0])
	}
	s := map[string]*samples.Sound{
		"callout-a": talk(1.6, -22, sii.Loud, 1), "callout-b": resample.Sound(talk(1.503, -24, sii.Raised, 2), 96000), "callout-c": six,
		"effect-a": short, "effect-b": tone.Pink(44100, 0.9331, 0.06, 4), "effect-c": tone.White(22050, 1, 0.031, 0.06, 8), "effect-d": wide,
		"music-a": tone.Pink(rate, 3.2, 0.05, 5), "music-b": tone.Pink(44100, 8.7, 0.05, 5),
	}
	sh := pack(t, s, listeningIn(68)+`
[[scene]]
name = "edges"
length_s = 8.0
[[scene.cue]]
at_s = 0
sound = "music-b.wav"
loop = true
[[scene.cue]]
at_s = 1
sound = "callout-a.wav"
[[scene.cue]]
at_s = 1.02
sound = "effect-c.wav"
[[scene.cue]]
at_s = 2.47
sound = "effect-b.wav"
[[scene.cue]]
at_s = 4
sound = "callout-b.wav"
[[scene.cue]]
at_s = 3.9
sound = "effect-b.wav"
[[scene.cue]]
at_s = 4.3
sound = "effect-a.wav"
`)
	plan := &mixplan.Plan{}
	times := func(d mixplan.Duck) mixplan.Duck {
		d.Under, d.LookaheadMS, d.AttackMS, d.HoldMS, d.ReleaseMS = meet.Callout, 60, 60, 250, 400
		return d
	}
	plan.Ducks = []mixplan.Duck{
		times(mixplan.Duck{Category: "music", DepthDB: 8, Dip: &mixplan.Dip{LowHz: 800, HighHz: 4000}}),
		times(mixplan.Duck{Category: "effect", DepthDB: 5}), times(mixplan.Duck{Category: "effect", DepthDB: 9, Dip: &mixplan.Dip{LowHz: 300, HighHz: 2000}}),
	}
	plan.Trims = []mixplan.Trim{{Category: "effect", Path: "effect-a.wav", TrimDB: -2.5}}
	pkg, err := meet.Read(context.Background(), sh, meet.Options{})
	if err != nil {
		t.Fatal(err)
	}
	r, err := Check(context.Background(), pkg, sh, plan, Options{Seed: 1})
	if err != nil {
		t.Fatal(err)
	}
	proof, err := Prove(context.Background(), pkg, sh, r, 1)
	if err != nil {
		t.Fatal(err)
	}
	if len(proof.Callouts) != 5 {
		t.Errorf("%d callouts proven, not 5: %v", len(proof.Callouts), proof.Skipped)
	}
	for _, c := range proof.Callouts {
		if math.Abs(c.Measured-c.Promised) > 0.005 || math.Abs(c.WorstLevelDB) > 0.1 {
			t.Errorf("%s at %.1f s in %q: %.3f promised, %.3f measured, %s %.2f dB off", c.Path, c.AtS, c.Scene, c.Promised, c.Measured, c.WorstLevelOf, c.WorstLevelDB)
		}
		t.Logf("%s %.2f s: %.3f, %.3f, %.3f dB of %s", c.Path, c.AtS, c.Promised, c.Measured, c.WorstLevelDB, c.WorstLevelOf)
	}
}

// A fault on another core is the caller's to hold.
func TestFaultOnAnotherCore(t *testing.T) {
	defer func() {
		if p, ok := recover().(string); !ok || !strings.HasPrefix(p, "third\n") {
			t.Errorf("%v", p)
		}
	}()
	parallel(8, 4, func(i int) {
		if i == 2 {
			panic("third")
		}
	})
	t.Error("nothing seen")
}
