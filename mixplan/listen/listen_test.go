package listen_test

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"tachbench/analysis/loudness"
	"tachbench/analysis/peak"
	"tachbench/mixplan"
	"tachbench/mixplan/engine"
	"tachbench/mixplan/listen"
	"tachbench/mixplan/render"
	"tachbench/samples"
)

// What is heard is what package render makes of the scene, plain and planned,
// to rounding, once the slow start is over: all through the scene, with the
// loop's seams.
func TestSoundsAsRendered(t *testing.T) {
	d := machine(t, true, "")
	for _, planned := range []bool{false, true} {
		b := d.bench(t)
		var p *mixplan.Plan
		if planned {
			p = plan()
			setPlan(t, b, p)
			b.Planned(true)
			hear(b, 0.1)
		}
		play(t, b, d.scene, true)
		out := hear(b, 8.1)
		want, _, _, err := render.Sound(context.Background(), d.scene, d.eng, render.Options{Plan: p, Seed: 5})
		if err != nil {
			t.Fatal(err)
		}
		g := samples.DBAmplitude(b.Snapshot().MatchDB - 1e-9)
		k := lag(t, out.Chans[0], scaled(want.Chans[0], g))
		worst := 0.0
		for c, ch := range want.Chans {
			for i := rate / 2; i < 2*len(ch); i++ {
				worst = math.Max(worst, math.Abs(out.Chans[c][i+k]-g*ch[i%len(ch)]))
			}
		}
		if worst > 1e-9 {
			t.Errorf("planned %v: off by %g", planned, worst)
		}
		if k > rate/200 {
			t.Errorf("late by %d frames", k)
		}
	}
}

func scaled(x []float64, g float64) []float64 {
	out := slices.Clone(x)
	for i := range out {
		out[i] *= g
	}
	return out
}

// The same controls at the same frames give the same sound, however it is cut.
func TestBlocksDoNotMatter(t *testing.T) {
	d := machine(t, true, "")
	var first *samples.Sound
	var shown listen.Snapshot
	for _, size := range []int{480, 7, 4801} {
		b := d.bench(t)
		setPlan(t, b, plan())
		play(t, b, d.scene, true)
		all := samples.NewSound(rate, 2, 0)
		part := func(s float64) {
			x := pull(b, int(s*rate), size)
			for c := range all.Chans {
				all.Chans[c] = append(all.Chans[c], x.Chans[c]...)
			}
		}
		part(0.7)
		b.Planned(true)
		b.InHall(true)
		part(0.61)
		b.Drive(listen.ByLever)
		b.Lever(1)
		b.ThroughCabinet(true)
		b.Fader("music", -6)
		part(0.9)
		b.Drive(listen.BySlider)
		b.InHall(false)
		b.Slide(4000, 0.7)
		part(0.5)
		b.Silence()
		part(0.1)
		b.InHall(true)
		part(0.3)
		if first == nil {
			first, shown = all, b.Snapshot()
			continue
		}
		for c := range all.Chans {
			if !slices.Equal(all.Chans[c], first.Chans[c]) {
				t.Errorf("blocks of %d: another sound", size)
			}
		}
		if s := b.Snapshot(); s.MomentaryLUFS != shown.MomentaryLUFS || s.SII != shown.SII || s.TruePeakHoldDBTP != shown.TruePeakHoldDBTP || s.RestDB != shown.RestDB {
			t.Errorf("blocks of %d: other meters", size)
		}
	}
}

// Plain and planned are equally loud, and the way between them has no click.
func TestPlannedAndPlain(t *testing.T) {
	d := machine(t, true, "")
	b := d.bench(t)
	setPlan(t, b, plan())
	loud := func(planned bool) float64 {
		b.Planned(planned)
		hear(b, 0.1)
		play(t, b, d.scene, true)
		hear(b, 4) // the slow start is over
		m, err := loudness.New(rate, 2, 0)
		if err != nil {
			t.Fatal(err)
		}
		m.Write(hear(b, 4).Chans)
		return m.Result().IntegratedLUFS.Value
	}
	plain, planned := loud(false), loud(true)
	if math.Abs(plain-planned) > 0.1 {
		t.Errorf("plain %.2f, planned %.2f LUFS", plain, planned)
	}
	s := b.Snapshot()
	if !(s.MatchDB <= 0) || !s.HasPlan || !s.Planned {
		t.Errorf("%+v", s)
	}
	t.Logf("plain %.3f, planned %.3f LUFS, match %.2f dB", plain, planned, s.MatchDB)

	d = sines(t)
	b = d.bench(t)
	steep := plan()
	steep.Trims[0].TrimDB = -14
	setPlan(t, b, steep)
	play(t, b, d.scene, true)
	hear(b, 1)
	for i := range 40 {
		b.Planned(i%2 == 0)
		x := hear(b, 0.0412)
		// 100 Hz at 0.1 to 0.3 moves by 0.004 a frame at most; a jump of the
		// music alone would be up to 0.08.
		if got := step(x.Chans[0]); got > 0.006 {
			t.Errorf("a step of %g", got)
		}
	}
}

// No control makes a click.
func TestNothingJumps(t *testing.T) {
	d := sines(t)
	b := d.bench(t)
	play(t, b, d.scene, true)
	hear(b, 1)
	level := func(on bool) float64 {
		if on {
			return 9
		}
		return 0
	}
	two := map[bool]*mixplan.Plan{true: plan(), false: plan()}
	two[true].BusGainDB = -7
	setPlan(t, b, two[false])
	for _, k := range []struct {
		what string
		do   func(on bool)
	}{
		{"fader", func(on bool) { b.Fader("music", level(on)) }},
		{"volume", func(on bool) { b.Volume(-5 * level(on)) }},
		{"mute", func(on bool) { b.Mute("music", on) }},
		{"solo", func(on bool) { b.Solo("effect", on) }},
		{"cabinet", b.ThroughCabinet},
		{"planned", b.Planned},
		{"plan", func(on bool) {
			b.Planned(true)
			setPlan(t, b, two[on])
		}},
	} {
		for i := range 12 {
			k.do(i%2 == 0)
			// 100 Hz at 0.3 and the callout move by 0.006 a frame at most.
			if got := step(hear(b, 0.0612).Chans[0]); got > 0.008 {
				t.Errorf("%s: a step of %g", k.what, got)
			}
		}
	}
}

// Through the cabinet both ears hear what ear.Cabinet makes of the mean of both
// channels.
func TestCabinet(t *testing.T) {
	d := machine(t, false, "")
	b := d.bench(t)
	b.ThroughCabinet(true)
	play(t, b, d.scene, false)
	out := hear(b, 2)
	mix, _, _, err := render.Sound(t.Context(), d.scene, nil, render.Options{})
	if err != nil {
		t.Fatal(err)
	}
	want := mix.Mono()
	d.chain.NewCabinet(rate).Process(want)
	k := lag(t, out.Chans[0], want)
	for i := rate; i < 2*rate-k; i++ {
		if out.Chans[0][i+k] != out.Chans[1][i+k] || math.Abs(out.Chans[0][i+k]-want[i]) > 1e-9 {
			t.Fatalf("frame %d: %g, want %g", i, out.Chans[0][i+k], want[i])
		}
	}
}

// A plan that comes late finds the scene where it is.
func TestPlanComesLate(t *testing.T) {
	d := machine(t, true, "")
	b := d.bench(t)
	b.Planned(true)
	play(t, b, d.scene, false)
	hear(b, 1.2)
	setPlan(t, b, plan())
	out := hear(b, 2.5)
	want, _, _, err := render.Sound(context.Background(), d.scene, d.eng, render.Options{Plan: plan(), Seed: 5})
	if err != nil {
		t.Fatal(err)
	}
	g := samples.DBAmplitude(b.Snapshot().MatchDB - 1e-9)
	at := int(1.2 * rate)
	k := lag(t, out.Chans[0], scaled(want.Chans[0][at:], g))
	for i := 4800; i < 2*rate; i++ {
		if e := math.Abs(out.Chans[0][i+k] - g*want.Chans[0][at+i]); e > 1e-9 {
			t.Fatalf("frame %d: off by %g", i, e)
		}
	}
	setPlan(t, b, nil)
	hear(b, 0.1)
	if s := b.Snapshot(); s.HasPlan || s.MatchDB != 0 || !s.Playing {
		t.Errorf("%+v", s)
	}
	hear(b, 0.5)
	if s := b.Snapshot(); s.Playing || s.PositionS != 4 || s.Scene != "x" {
		t.Errorf("at the end: %+v", s)
	}
}

// The ducks of the plan are shown, on the planned path only, for the live
// engine as well.
func TestDucksAreShown(t *testing.T) {
	d := machine(t, true, "")
	for _, planned := range []bool{false, true} {
		b := d.bench(t)
		setPlan(t, b, plan())
		b.Planned(planned)
		b.Drive(listen.ByLever)
		play(t, b, d.scene, false)
		hear(b, 2)
		for _, k := range b.Snapshot().Buses {
			want := listen.BusState{Category: k.Category}
			if planned && k.Category == "music" {
				want.DuckDB = 9
			}
			if planned && k.Category == "engine" {
				want.DipDB = 6
			}
			if math.Abs(k.DuckDB-want.DuckDB) > 1e-9 || math.Abs(k.DipDB-want.DipDB) > 1e-9 {
				t.Errorf("planned %v: %+v, want %+v", planned, k, want)
			}
		}
	}
}

func TestFadersMuteAndSolo(t *testing.T) {
	d := machine(t, false, "")
	b := d.bench(t)
	play(t, b, d.scene, true)
	hear(b, 0.7)
	level := func() float64 {
		hear(b, 0.05)
		return samples.AmplitudeDB(rms(hear(b, 0.2), 0, 0.2))
	}
	was := level()
	b.Fader("music", -6)
	if got := level() - was; math.Abs(got+6) > 0.6 {
		t.Errorf("fader: %.2f dB", got)
	}
	b.Mute("music", true)
	if got := level(); got > -140 {
		t.Errorf("muted: %.1f dB", got)
	}
	b.Mute("music", false)
	b.Fader("music", 0)
	b.Solo("effect", true)
	if got := level(); got > -140 {
		t.Errorf("another is solo: %.1f dB", got)
	}
	b.Fader("nobody", 3)
	b.Fader("music", math.NaN())
	for _, k := range b.Snapshot().Buses {
		if k.LevelDB != 0 || k.Solo != (k.Category == "effect") || k.Mute {
			t.Errorf("%+v", k)
		}
	}
}

// Scenes come and go, and plans that change nothing, and the live engine does
// not notice.
func TestLiveEngineGoesOn(t *testing.T) {
	d := machine(t, true, "")
	alone, beside := d.bench(t), d.bench(t)
	for _, b := range []*listen.Bench{alone, beside} {
		b.Drive(listen.BySlider)
		b.Slide(3500, 0.8)
		for _, c := range []string{"music", "effect", "callout"} {
			b.Mute(c, true)
		}
		hear(b, 0.6)
	}
	same := func(what string, seconds float64) {
		t.Helper()
		x, y := hear(alone, seconds), hear(beside, seconds)
		for i, v := range x.Chans[0] {
			if math.Abs(y.Chans[0][i]-v) > 1e-9 {
				t.Fatalf("%s, frame %d: %g, alone %g", what, i, y.Chans[0][i], v)
			}
		}
		if samples.RMS(x.Chans[0]) < 1e-3 {
			t.Fatal("no engine")
		}
	}
	play(t, beside, d.scene, true)
	same("a scene", 4.2)
	setPlan(t, beside, &mixplan.Plan{})
	beside.Planned(true)
	same("an empty plan", 0.5)
	beside.Stop()
	same("no scene", 0.5)
}

// The lever moves the revs as the crank model says, from the next block on.
func TestLever(t *testing.T) {
	d := machine(t, true, "")
	b := d.bench(t)
	if s := b.Snapshot(); !math.IsNaN(s.RPM) {
		t.Errorf("an engine at %g rpm", s.RPM)
	}
	b.Drive(listen.ByLever)
	hear(b, 0.5)
	model, err := engine.Crank(d.sheet, 5)
	if err != nil {
		t.Fatal(err)
	}
	model.Step(0.5, 0)
	b.Lever(1)
	before := b.Snapshot().RPM
	for i := range 150 {
		hear(b, 0.01)
		want, load := model.Step(0.01, 1)
		s := b.Snapshot()
		want = min(want, 6000*1.4)
		if math.Abs(s.RPM-want) > 0.02*want || math.Abs(s.Load-load) > 0.1 && i > 5 {
			t.Fatalf("%d ms after the move: %.0f rpm at %.2f, the model says %.0f at %.2f", 10*(i+1), s.RPM, s.Load, want, load)
		}
		if i == 4 && s.RPM < before+20 {
			t.Errorf("50 ms after the move: %.0f rpm, before it %.0f", s.RPM, before)
		}
	}
	if s := b.Snapshot(); s.RPM < 5500 || s.Lever != 1 || s.Drive != listen.ByLever {
		t.Errorf("%.0f rpm", s.RPM)
	}
	b.Drive(listen.BySlider)
	b.Slide(3000, 0.5)
	hear(b, 0.4)
	if s := b.Snapshot(); math.Abs(s.RPM-3000) > 5 || math.Abs(s.Load-0.5) > 0.01 || s.Limiting {
		t.Errorf("slider: %.0f rpm at %.2f", s.RPM, s.Load)
	}
	b.Drive(listen.ByScene)
	hear(b, 0.1)
	if x := hear(b, 0.1); samples.RMS(x.Chans[0]) != 0 || !math.IsNaN(b.Snapshot().RPM) {
		t.Error("the engine goes on without a scene")
	}
}

// Silence within 10 ms, whatever sounds, and a slow way back.
func TestSilence(t *testing.T) {
	d := machine(t, true, "")
	b := d.bench(t)
	play(t, b, d.scene, true)
	b.Drive(listen.ByLever)
	b.Lever(1)
	b.InHall(true)
	hear(b, 1.5)
	b.Silence()
	x := hear(b, 0.1)
	if got := samples.RMS(x.Chans[0][480:]); got != 0 {
		t.Errorf("after 10 ms: %g", got)
	}
	if step(x.Chans[0]) > 0.5 {
		t.Error("silence with a click")
	}
	if s := b.Snapshot(); !s.Silenced || s.Playing || s.Hall || s.Lever != 0 || s.Drive != listen.ByScene {
		t.Errorf("%+v", s)
	}
	b.InHall(true)
	x = hear(b, 1)
	for k, most := range map[int]float64{0: 0.12, 1: 0.3, 2: 0.5} {
		if got := rms(x, 0.05*float64(k), 0.05*float64(k+1)) / rms(x, 0.6, 1); got > most {
			t.Errorf("%d ms after: at %.2f of its level", 50*(k+1), got)
		}
	}
	if s := b.Snapshot(); s.Silenced || !s.Hall {
		t.Errorf("%+v", s)
	}
}

// The sum that is heard stands beside the hall as at the player's ear.
func TestHallStandsBesideTheSound(t *testing.T) {
	d := machine(t, false, "[listening]\nlevel_at_ear_db = 80\nnoise_dba = 74\nnoise_shape = \"pink\"\nspeaker_response = \"r.csv\"\n")
	for _, cabinet := range []bool{false, true} {
		b := d.bench(t)
		b.ThroughCabinet(cabinet)
		b.InHall(true)
		hear(b, 1)
		x := hear(b, 4)
		got := samples.AmplitudeDB(rms(x, 0, 4))
		// Pink noise at -20 dBFS, 80 dB SPL at the ear, is the common measure:
		// as it is without the cabinet, as the cabinet leaves it with it.
		want := -20 + d.chain.Hall.DB() - 80
		if cabinet {
			want = d.chain.Hall.DB() - d.chain.FullScaleDB
		}
		if math.Abs(got-want) > 0.3 {
			t.Errorf("cabinet %v: hall at %.2f dBFS, want %.2f", cabinet, got, want)
		}
	}
}

// Nothing leaves over the ceiling, and the meter says what is taken.
func TestCeiling(t *testing.T) {
	d := machine(t, true, "")
	b, err := listen.New(listen.Options{Sheet: d.sheet, Engine: d.eng, Chain: d.chain, VolumeDB: -1e-9, CeilingDBTP: -20})
	if err != nil {
		t.Fatal(err)
	}
	play(t, b, d.scene, true)
	b.Drive(listen.ByLever)
	b.Fader("engine", 12)
	b.Fader("callout", 12)
	b.Lever(1)
	x := hear(b, 6)
	m, err := peak.New(rate, 2)
	if err != nil {
		t.Fatal(err)
	}
	m.Write(x.Chans)
	if tp, _ := m.Result().TruePeakDBTP(); tp > -20+0.1 || tp < -20.5 {
		t.Errorf("%.2f dBTP", tp)
	}
	if s := b.Snapshot(); !(s.LimitedDB > 0.5) || s.OutputPeakDBTP > -19.9 || s.CeilingDBTP != -20 {
		t.Errorf("takes %.2f dB, output at %.2f dBTP", s.LimitedDB, s.OutputPeakDBTP)
	}
}

// Meters of the machine's sum agree with those over everything.
func TestMeters(t *testing.T) {
	d := machine(t, true, "")
	b := d.bench(t)
	play(t, b, d.scene, false)
	hear(b, 3.5)
	mix, _, _, err := render.Sound(context.Background(), d.scene, d.eng, render.Options{Seed: 5})
	if err != nil {
		t.Fatal(err)
	}
	first := mix.Slice(0, int(3.5*rate))
	l, _ := loudness.New(rate, 2, 0)
	l.Write(first.Chans)
	m, _ := peak.New(rate, 2)
	m.Write(first.Chans)
	s := b.Snapshot()
	momentary, short := l.MomentaryLUFS(), l.ShortTermLUFS()
	if got, want := s.MomentaryLUFS, momentary[len(momentary)-1]; math.Abs(got-want) > 1e-6 {
		t.Errorf("momentary %.4f, want %.4f", got, want)
	}
	if got, want := s.ShortTermLUFS, short[len(short)-1]; math.Abs(got-want) > 1e-6 {
		t.Errorf("short-term %.4f, want %.4f", got, want)
	}
	if want, _ := m.Result().TruePeakDBTP(); math.Abs(s.TruePeakHoldDBTP-want) > 1e-6 {
		t.Errorf("true peak %.4f, want %.4f", s.TruePeakHoldDBTP, want)
	}
	if !strings.Contains(fmt.Sprint(s.Buses), "engine") {
		t.Errorf("%v", s.Buses)
	}
}
