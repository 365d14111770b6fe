package solve

import (
	"context"
	"math"
	"slices"
	"strings"
	"testing"

	"tachbench/analysis/sii"
	"tachbench/mixplan"
	"tachbench/mixplan/meet"
	"tachbench/mixplan/render"
	"tachbench/mixplan/scene"
	"tachbench/samples"
	"tachbench/samples/sheet"
	"tachbench/samples/tone"
	"tachbench/synth/standin"
)

// withEngine is a package with an engine of one pull at full load, and music
// that changes while it goes round.
func withEngine(t *testing.T) *sheet.Sheet {
	t.Helper()
	s := sounds()
	bed := s["music-a"]
	for i := range bed.Chans[0] {
		bed.Chans[0][i] *= 0.4 + 0.6*math.Abs(math.Sin(math.Pi*float64(i)/(3*rate)))
	}
	s["effect-d"] = tone.Pink(22050, 6, 0.05, 9) // long enough to have begun before the scene, at a rate of its own
	s["callout-z"] = tone.Silence(rate, 1, 0.5)
	pull, _ := standin.Record(standin.SnowSled(), standin.Ramp(1500, 8300, 8), standin.Always(1), 8, rate, 1, 1)
	for i := range pull.Chans[0] {
		pull.Chans[0][i] *= 0.2
	}
	s["engine-pull"] = pull
	return pack(t, s, listeningIn(66)+`
[engine]
cylinders = 2
strokes = 2
idle_rpm = 2000
redline_rpm = 8000
[[engine.recording]]
file = "engine-pull.wav"
rpm_from = 1500
rpm_to = 8300
`)
}

// indexOf measures the index of the callout of a meeting on its render.
func indexOf(t *testing.T, pkg *meet.Package, tl *scene.Timeline, plan *mixplan.Plan) float64 {
	t.Helper()
	_, stems, _, err := render.Sound(context.Background(), tl, pkg.Engine, render.Options{Plan: plan, Seed: 7})
	if err != nil {
		t.Fatal(err)
	}
	var e scene.Event
	for _, v := range tl.Events {
		if v.Category == meet.Callout {
			e = v
		}
	}
	k := slices.IndexFunc(pkg.Callouts, func(s *meet.Sound) bool { return s.Path == e.Path })
	active := pkg.Callouts[k].Active
	a := meet.NewAnalyser(tl.RateHz)
	under := make([]sii.Masker, len(active))
	for i := range under {
		under[i] = pkg.Hall
	}
	var speech sii.Levels
	for c, s := range stems {
		frames := meet.AtEar(a.Frames(cut(s, e)), pkg.Chain)
		if c == meet.Callout {
			speech = longTerm(frames, active)
			continue
		}
		add(under, frames)
	}
	return sii.Extended(pkg.Callouts[k].Listener(), []sii.Levels{speech}, under, active).Mean
}

// The scene behind a cell sounds as the cell says, without and with the plan.
func TestMeetingBehindACellIsWhatTheCellSays(t *testing.T) {
	sh := withEngine(t)
	pkg, err := meet.Read(context.Background(), sh, meet.Options{RPMSteps: 4})
	if err != nil {
		t.Fatal(err)
	}
	r, err := Solve(context.Background(), pkg, sh, Options{Seed: 3})
	if err != nil {
		t.Fatal(err)
	}
	if len(r.Plan.Ducks) == 0 {
		t.Fatal("nothing yields: the case says nothing")
	}
	lib := scene.NewLibrary(sh.SampleRateHz)
	apart := 0.0
	for callout := range 2 {
		for step, rpm := range pkg.StepsRPM() {
			tl, err := r.MeetingTimeline(pkg, sh, lib, callout, step)
			if err != nil {
				t.Fatal(err)
			}
			if want := 2000 * float64(step+1); rpm != want || tl.Name != pkg.Callouts[callout].Path+" at "+[]string{"2000", "4000", "6000", "8000"}[step]+" RPM" {
				t.Errorf("step %d: %g RPM, %q", step, rpm, tl.Name)
			}
			if n := int64(math.Round((pkg.Callouts[callout].DurationS + 2) * rate)); tl.Frames != n || !tl.HasEngine() || len(tl.Warnings) > 0 {
				t.Errorf("%s: %d frames, not %d; engine %v; %v", tl.Name, tl.Frames, n, tl.HasEngine(), tl.Warnings)
			}
			i, err := r.cell(pkg, callout, step)
			if err != nil {
				t.Fatal(err)
			}
			plain, planned := indexOf(t, pkg, tl, nil), indexOf(t, pkg, tl, r.Plan)
			dPlain, dPlanned := plain-r.met.plain[callout][i], planned-r.met.planned[callout][i]
			apart = max(apart, math.Abs(dPlain), math.Abs(dPlanned))
			if math.Abs(dPlain) > ProofSII || math.Abs(dPlanned) > ProofSII {
				t.Errorf("%s: plain %.3f for %.3f, planned %.3f for %.3f", tl.Name, plain, r.met.plain[callout][i], planned, r.met.planned[callout][i])
			}
			if plain, planned := r.Callouts[callout].StepsPlain[step], r.Callouts[callout].StepsPlanned[step]; plain != r.met.plain[callout][i] || planned != r.met.planned[callout][i] {
				t.Errorf("%s: the cell says %.3f and %.3f, the meeting %.3f and %.3f", tl.Name, plain, planned, r.met.plain[callout][i], r.met.planned[callout][i])
			}
			at := slices.Sorted(func(yield func(float64) bool) {
				for k := step; k < len(r.met.plain[callout]); k += pkg.Steps() {
					yield(r.met.plain[callout][k])
				}
			})
			if r.met.plain[callout][i] != at[1] { // the second of four
				t.Errorf("%s: %.3f is not the middle of %.3f", tl.Name, r.met.plain[callout][i], at)
			}
		}
	}
	t.Logf("%.4f apart at most", apart)

	for _, c := range []struct {
		callout, step int
		want          string
	}{
		{-1, 0, "callout -1: there are 3"}, {3, 0, "callout 3: there are 3"},
		{0, -1, "step -1: the engine has 4"}, {0, 4, "step 4: the engine has 4"},
		{2, 0, "callout-z.wav: there is no speech"},
	} {
		if _, err := r.MeetingTimeline(pkg, sh, lib, c.callout, c.step); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("callout %d, step %d: %v, want %q", c.callout, c.step, err, c.want)
		}
	}
	plain := pack(t, sounds(), listeningIn(66))
	small, r := solved(t, plain, Options{Seed: 3})
	if _, err := r.MeetingTimeline(small, plain, lib, 0, 0); err == nil || !strings.Contains(err.Error(), "no engine") {
		t.Errorf("without engine: %v", err)
	}
}

// A bed is at its drawn place when the scene begins, and goes round without a
// seam of ours; a sound that has begun before is cut, one that begins later
// waits.
func TestSoundsEnterAtTheirPlaces(t *testing.T) {
	count := samples.NewSound(rate, 1, 10*rate)
	for i := range count.Chans[0] {
		count.Chans[0][i] = float64(i)
	}
	clip := &scene.Clip{Sound: count, Active: []scene.Span{{FromS: 0, ToS: 10}}}
	tl := &scene.Timeline{RateHz: rate, Frames: 4 * rate}
	fade := int(meetingFadeInS * rate)
	for _, at := range []int64{0, 5, 9*rate + 7, -3, -20*rate - 3} {
		e := scene.Event{Clip: clip, Loop: true, End: tl.Frames, Active: always(tl)}
		if !enter(&e, &meet.Sound{DurationS: 10}, at, tl) {
			t.Fatal("lost")
		}
		l := e.Clip.Loop
		for i := range 11 * rate { // as a player goes through the loop
			k := i
			for int64(k) >= l.End {
				k -= int(l.End - l.Start)
			}
			want := float64(((int(at)+i)%(10*rate) + 10*rate) % (10 * rate))
			if got := e.Clip.Sound.Chans[0][k]; got != want && i >= fade || i < fade && got > want {
				t.Fatalf("from %d: frame %d is %g, not %g", at, i, got, want)
			}
		}
	}
	short := &meet.Sound{DurationS: 2}
	clip = &scene.Clip{Sound: count.Slice(0, 2*rate), Active: []scene.Span{{FromS: 0.5, ToS: 2}}}
	for _, c := range []struct {
		at, from, end int64
		first         float64
		active        scene.Span
	}{
		{rate, 0, rate, rate + 480, scene.Span{FromS: 0, ToS: 1}},
		{-rate, rate, 3 * rate, 480, scene.Span{FromS: 1.5, ToS: 3}},
		{-3 * rate, 3 * rate, 4 * rate, 480, scene.Span{FromS: 3.5, ToS: 4}},
	} {
		e := scene.Event{Clip: clip, Loop: true, End: tl.Frames, Active: always(tl)}
		if !enter(&e, short, c.at, tl) || e.Loop || e.At != c.from || e.End != c.end || e.Clip.Sound.Chans[0][480] != c.first || !slices.Equal(e.Active, []scene.Span{c.active}) {
			t.Errorf("from %d: %+v, frame 480 is %g", c.at, e, e.Clip.Sound.Chans[0][480])
		}
	}
	for _, at := range []int64{2 * rate, -4 * rate} {
		if e := (scene.Event{Clip: clip, Loop: true, End: tl.Frames}); enter(&e, short, at, tl) {
			t.Errorf("from %d: %+v, and it is not to be heard", at, e)
		}
	}
}
