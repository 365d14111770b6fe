package solve

import (
	"bytes"
	"context"
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"gonum.org/v1/gonum/dsp/fourier"

	"tachbench/analysis/band"
	"tachbench/analysis/sii"
	"tachbench/mixplan"
	"tachbench/mixplan/meet"
	"tachbench/samples"
	"tachbench/samples/file"
	"tachbench/samples/sheet"
	"tachbench/samples/tone"
	"tachbench/samples/wav"
)

const rate = 48000

// talk is speech-shaped noise at levelDBFS with a pause of 0.3 s in it.
func talk(seconds, levelDBFS float64, effort sii.Effort, seed uint64) *samples.Sound {
	e := sii.Speech(effort, 1, sii.Levels{})
	n := int(seconds*rate) &^ 1
	r := rand.New(rand.NewPCG(seed, 3))
	lines := make([]complex128, n/2+1)
	for i := range e {
		lo, hi := band.Edges(i - 8)
		from, to := int(math.Ceil(lo*float64(n)/rate)), int(math.Ceil(hi*float64(n)/rate))
		db := e[i] + sii.BandwidthDB[i] + levelDBFS - sii.OverallDB(e)
		a := math.Sqrt(2*samples.DBPower(db)/float64(to-from)) / 2
		for k := from; k < to; k++ {
			lines[k] = cmplx.Rect(a, 2*math.Pi*r.Float64())
		}
	}
	s := samples.NewSound(rate, 1, n)
	fourier.NewFFT(n).Sequence(s.Chans[0], lines)
	clear(s.Chans[0][n/2 : min(n, n/2+3*rate/10)])
	return s
}

func pack(t testing.TB, sounds map[string]*samples.Sound, rest string) *sheet.Sheet {
	t.Helper()
	dir := t.TempDir()
	names := make([]string, 0, len(sounds))
	for name := range sounds {
		names = append(names, name)
	}
	slices.Sort(names)
	categories := map[string][]string{}
	for _, name := range names {
		if err := file.WriteSound(filepath.Join(dir, name+".wav"), sounds[name], wav.SpecOf(sounds[name], 24), false); err != nil {
			t.Fatal(err)
		}
		c, _, _ := strings.Cut(name, "-")
		categories[c] = append(categories[c], fmt.Sprintf("%q", name+".wav"))
	}
	text := "title = \"Test\"\nsample_rate = 48000\nbit_depth = 24\n" + rest + "\n"
	for _, c := range []string{"callout", "effect", "music"} {
		if f := categories[c]; f != nil {
			if c == "callout" && sounds["callout-word"] != nil {
				f = append(f, "\"callout-word.wav\"]\none_word = [\"callout-word.wav\"")
			}
			text += fmt.Sprintf("[category.%s]\nfiles = [%s]\n%s", c, strings.Join(f, ", "), map[string]string{"music": "target_lufs = -24\n"}[c])
		}
	}
	path := filepath.Join(dir, "soundsheet.toml")
	if err := os.WriteFile(path, []byte(text), 0o666); err != nil {
		t.Fatal(err)
	}
	sh, err := sheet.Load(path)
	if err != nil {
		t.Fatal(err)
	}
	return sh
}

func listeningIn(dba float64) string {
	return fmt.Sprintf("[listening]\nlevel_at_ear_db = 85\nnoise_dba = %g\nnoise_shape = \"crowd\"\nspeaker_low_cut_hz = 120\n", dba)
}

func sounds() map[string]*samples.Sound {
	return map[string]*samples.Sound{
		"callout-a": talk(1.6, -22, sii.Loud, 1), "callout-b": talk(1.2, -24, sii.Raised, 2),
		"effect-a": tone.White(rate, 1, 0.6, 0.04, 3), "effect-b": tone.Pink(rate, 0.9, 0.06, 4), "effect-c": tone.Pink(rate, 0.9, 0.03, 8),
		"music-a": tone.Pink(rate, 9, 0.05, 5),
	}
}

func solved(t testing.TB, sh *sheet.Sheet, o Options) (*meet.Package, *Result) {
	t.Helper()
	pkg, err := meet.Read(context.Background(), sh, meet.Options{Workers: o.Workers})
	if err != nil {
		t.Fatal(err)
	}
	r, err := Solve(context.Background(), pkg, sh, o)
	if err != nil {
		t.Fatal(err)
	}
	return pkg, r
}

// A plan that is needed reaches its target, is not undercut by a complete
// grid, survives its own check, and holds on the render. A broken promise is
// seen.
func TestPlanIsNeededEnoughAndProven(t *testing.T) {
	sh := pack(t, sounds(), listeningIn(68))
	pkg, r := solved(t, sh, Options{Seed: 1})
	for _, c := range r.Callouts {
		if c.LimitedBy != LimitNone || c.Planned.P10 < r.Target {
			t.Errorf("%s: %.3f, limited by %s", c.Sound.Path, c.Planned.P10, c.LimitedBy)
		}
		if c.Plain.P10 >= r.Target {
			t.Logf("%s needed nothing: %.3f", c.Sound.Path, c.Plain.P10)
		}
	}
	if len(r.Plan.Ducks) == 0 || r.CostDB2 == 0 {
		t.Fatal("nothing yields: the case says nothing")
	}
	for _, d := range r.Plan.Ducks {
		if err := d.Validate(); err != nil {
			t.Error(err)
		}
		if d.LookaheadMS < d.AttackMS {
			t.Errorf("%s is not down when the first word begins", d.Category)
		}
		if d.HoldMS+d.LookaheadMS < 220 { // 0.3 s of silence, less the 80 ms that stretches are widened by
			t.Errorf("%s lets go in the pause", d.Category)
		}
	}
	// The grid, on the same trimmed package.
	prepared := make([]*meet.Prepared, len(pkg.Callouts))
	for i := range prepared {
		prepared[i] = pkg.Prepare(i, pkg.Callouts[i].Listener(), pkg.Meetings(i, 1))
	}
	p := newProblem(pkg, pkg.Hall, prepared, r.Target, 0)
	most := limits(pkg, sh)
	grid, ok := brute(p.knobs(most), p.enough)
	broad := 0.0
	for _, q := range r.Pairs {
		broad += q.Dear * q.BroadDB * q.BroadDB
	}
	if !ok || broad > grid*1.02+1e-9 || r.CostDB2 > broad+1e-9 {
		t.Errorf("cost %.2f (all frequencies %.2f), the grid finds %.2f", r.CostDB2, broad, grid)
	}
	t.Logf("cost %.2f, all frequencies %.2f, grid %.2f", r.CostDB2, broad, grid)

	proof, err := Prove(context.Background(), pkg, sh, r, 1)
	if err != nil {
		t.Fatal(err)
	}
	if !proof.Holds() || len(proof.Callouts) != 2 {
		t.Errorf("proof: %+v", proof.Callouts)
	}
	for _, c := range proof.Callouts {
		if c.Measured <= c.Plain {
			t.Errorf("%s: %.3f with the plan, %.3f without", c.Path, c.Measured, c.Plain)
		}
	}

	text := mixplan.Format(r.Plan)
	plan, err := mixplan.Parse("plan.toml", text)
	if err != nil {
		t.Fatal(err)
	}
	if err := plan.Fit(sh); err != nil {
		t.Fatal(err)
	}
	fresh, err := meet.Read(context.Background(), sh, meet.Options{})
	if err != nil {
		t.Fatal(err)
	}
	again, err := Check(context.Background(), fresh, sh, plan, Options{Seed: 1})
	if err != nil {
		t.Fatal(err)
	}
	for i, c := range again.Callouts {
		if math.Abs(c.Planned.P10-r.Callouts[i].Planned.P10) > 1e-9 || c.Plain != r.Callouts[i].Plain {
			t.Errorf("%s: checked %v, made %v", c.Sound.Path, c.Planned, r.Callouts[i].Planned)
		}
	}
	// Music louder than the plan's numbers say is found out.
	for _, s := range pkg.Buses[len(pkg.Buses)-1].Sounds {
		s.Apply(2)
	}
	if proof, err = Prove(context.Background(), pkg, sh, r, 1); err != nil || proof.Holds() {
		t.Errorf("2 dB more music pass unseen (%v)", err)
	}
}

// An edited plan is judged as it is: half the depth does half the work, and a
// duck that comes too late does less.
func TestEditedPlan(t *testing.T) {
	sh := pack(t, sounds(), listeningIn(68))
	_, r := solved(t, sh, Options{Seed: 1})
	figure := func(edit func(*mixplan.Duck)) float64 {
		plan := *r.Plan
		plan.Ducks = slices.Clone(plan.Ducks)
		for i := range plan.Ducks {
			edit(&plan.Ducks[i])
			if err := plan.Ducks[i].Validate(); err != nil {
				t.Fatal(err)
			}
		}
		pkg, err := meet.Read(context.Background(), sh, meet.Options{})
		if err != nil {
			t.Fatal(err)
		}
		c, err := Check(context.Background(), pkg, sh, &plan, Options{Seed: 1})
		if err != nil {
			t.Fatal(err)
		}
		return c.Callouts[0].Planned.P10
	}
	full := figure(func(*mixplan.Duck) {})
	half := figure(func(d *mixplan.Duck) { d.DepthDB /= 2 })
	late := figure(func(d *mixplan.Duck) { d.LookaheadMS, d.AttackMS = 0, 1500 })
	if !(half < full-0.005) || !(late < full-0.005) || half <= r.Callouts[0].Plain.P10-0.02 {
		t.Errorf("full %.3f, half %.3f, late %.3f, plain %.3f", full, half, late, r.Callouts[0].Plain.P10)
	}
}

// What stands in the way is named, and never answered with the largest depth.
func TestLimits(t *testing.T) {
	_, r := solved(t, pack(t, sounds(), listeningIn(95)), Options{Seed: 1})
	for _, c := range r.Callouts {
		if c.LimitedBy != LimitHall || !strings.Contains(c.Sentence, "hall alone") {
			t.Errorf("loud hall: %s, %q", c.LimitedBy, c.Sentence)
		}
		if c.Obstacle != nil {
			t.Errorf("loud hall: %+v", c.Obstacle)
		}
	}
	if len(r.Plan.Ducks) > 0 {
		t.Errorf("loud hall: ducks that cannot help: %+v", r.Plan.Ducks)
	}

	s := sounds()
	s["effect-z"] = tone.White(rate, 1, 9, 0.2, 6) // a bed of white noise over soft callouts
	s["callout-b"] = talk(1.2, -40, sii.Raised, 2)
	delete(s, "effect-a")
	delete(s, "effect-b")
	delete(s, "effect-c")
	_, r = solved(t, pack(t, s, listeningIn(44)), Options{Seed: 1})
	c := r.Callouts[1]
	if c.LimitedBy != LimitDepth && c.LimitedBy != LimitHeadroom || !(c.RaiseDB > 0) {
		t.Errorf("loud bed: %s, raise %.1f, %q", c.LimitedBy, c.RaiseDB, c.Sentence)
	}
	// White noise takes most where speech is soft: in the upper bands.
	if o := c.Obstacle; o == nil || o.Path != "effect-z.wav" || o.HighHz < 4000 || o.LowHz < 400 || !strings.Contains(c.Sentence, "effect-z.wav") {
		t.Errorf("loud bed: %+v, %q", o, c.Sentence)
	}
	// The raise it asks for is enough: the same callout louder by as much.
	if c.LimitedBy == LimitDepth && c.RaiseDB > c.RoomDB || c.LimitedBy == LimitHeadroom && c.RaiseDB <= c.RoomDB {
		t.Errorf("%s with %.1f dB wanted and %.1f left", c.LimitedBy, c.RaiseDB, c.RoomDB)
	}
}

// A callout of one word is judged as one, from the meetings to the proof: the
// same sound reads differently, by the functions of ANSI S3.5 as they are.
func TestOneWord(t *testing.T) {
	s := sounds()
	delete(s, "callout-b")
	s["callout-word"] = s["callout-a"]
	// Not a crowd: before speech-like noise every band is worth the same.
	sh := pack(t, s, strings.Replace(listeningIn(68), "crowd", "flat", 1))
	pkg, r := solved(t, sh, Options{Seed: 1})
	a, word := r.Callouts[0], r.Callouts[1]
	if a.Sound.Importance().Name != "average speech" || word.Sound.Importance().Name != "NU-6 words" {
		t.Fatalf("%q and %q", a.Sound.Importance().Name, word.Sound.Importance().Name)
	}
	for _, c := range []struct {
		Outcome
		sii.Importance
	}{{a, sii.AverageSpeech}, {word, sii.NU6}} {
		want, _ := sii.IndexMasked(c.Sound.Speech, maskerLevels(pkg.Hall), sii.Levels{}, c.Importance)
		if math.Abs(c.Hall-want) > 1e-6 {
			t.Errorf("%s over the hall: %.4f, not %.4f", c.Sound.Path, c.Hall, want)
		}
	}
	// So are collisions of this one callout, and of a group that holds no other.
	only := *pkg
	only.Callouts = pkg.Callouts[1:]
	worst, got := 0.0, clashes(&only)
	for _, b := range pkg.Buses {
		for _, s := range b.Sounds {
			worst = max(worst, meet.Overlap(s.Long, word.Sound.Long, &sii.NU6).Masks)
		}
	}
	if group := meet.Overlap(got.Levels[1], got.Levels[0], &sii.NU6); got.Worst.Masks != worst || got.Matrix[1][0] != group {
		t.Errorf("collisions of a word: %.4f and %.4f, not %.4f and %.4f", got.Worst.Masks, got.Matrix[1][0].Masks, worst, group.Masks)
	}
	if math.Abs(a.Hall-word.Hall) < 0.005 {
		t.Error("the two functions agree: the case says nothing")
	}
	proof, err := Prove(context.Background(), pkg, sh, r, 1)
	if err != nil {
		t.Fatal(err)
	}
	if !proof.Holds() || math.Abs(proof.Callouts[0].Measured-proof.Callouts[1].Measured) < 0.002 {
		t.Errorf("proof: %+v", proof.Callouts)
	}
}

func maskerLevels(m sii.Masker) sii.Masker {
	for k, p := range m {
		m[k] = samples.PowerDB(p)
	}
	return m
}

// A target out of reach does not give up what can be had: the next limit
// below it is still reached.
func TestNextLimitBelow(t *testing.T) {
	sh := pack(t, sounds(), listeningIn(72))
	_, r := solved(t, sh, Options{Seed: 1, Target: 0.85})
	reached := 0
	for _, c := range r.Callouts {
		if c.LimitedBy == LimitNone {
			t.Errorf("%s reaches 0.85: the case says nothing", c.Sound.Path)
		}
		for _, limit := range []float64{sii.GuessableFrom, sii.UnderstoodFrom, sii.ClearFrom} {
			if c.Plain.P10 < limit && c.Planned.P10 >= limit {
				reached++
			}
		}
	}
	if reached == 0 || len(r.Plan.Ducks) == 0 {
		t.Errorf("nothing was done: %+v", r.Plan.Ducks)
	}
}

func TestLittle(t *testing.T) {
	// Nothing but a callout, and one that is silent.
	s := map[string]*samples.Sound{"callout-a": talk(1.2, -20, sii.Loud, 1), "callout-b": tone.Silence(rate, 1, 1)}
	_, r := solved(t, pack(t, s, listeningIn(60)), Options{})
	if len(r.Plan.Ducks) != 0 || r.Callouts[0].LimitedBy != LimitNone {
		t.Errorf("alone: %+v", r.Plan.Ducks)
	}
	if c := r.Callouts[1]; !math.IsNaN(c.Planned.P10) || !strings.Contains(c.Sentence, "no speech") {
		t.Errorf("silent: %v %q", c.Planned, c.Sentence)
	}
}

// Levels by hand: a sine of amplitude a reads 20·log10(a) - 3.01 LUFS at about
// 1 kHz (BS.1770: a full-scale sine of 997 Hz in one channel is -3.01 LKFS).
func TestTrims(t *testing.T) {
	s := map[string]*samples.Sound{
		"callout-a": talk(1.2, -20, sii.Loud, 1),
		"music-a":   tone.Sine(rate, 9, 997, 0.1, 0), // -23.01: within 1 LU of -24
		"music-b":   tone.Sine(rate, 9, 997, 0.2, 0), // -16.99
		"music-c":   tone.Sine(rate, 9, 997, 0.05, 0),
		"music-d":   tone.Impulse(rate, 9, rate, 0.98),
	}
	for i := range s["music-d"].Chans[0] { // soft, with one peak that leaves no room
		s["music-d"].Chans[0][i] += 0.005 * math.Sin(2*math.Pi*997*float64(i)/rate)
	}
	_, r := solved(t, pack(t, s, listeningIn(60)), Options{})
	want := map[string]float64{"music-a.wav": 0, "music-b.wav": -7.0, "music-c.wav": 5.0}
	for _, q := range r.Trims {
		if w, ok := want[q.Path]; ok && math.Abs(q.TrimDB-w) > 0.051 {
			t.Errorf("%s: trim %.2f, not %.1f (%.2f LUFS)", q.Path, q.TrimDB, w, q.LUFS)
		}
		if q.Path == "music-d.wav" && (q.HeldDB < 5 || q.PeakDBTP+q.TrimDB > CeilingDBTP+1e-9) {
			t.Errorf("peak: trim %.2f held %.2f at %.2f dBTP", q.TrimDB, q.HeldDB, q.PeakDBTP)
		}
	}
}

// Same seed, same plan and figures, on one core or two.
func TestCoresDoNotMatter(t *testing.T) {
	sh := pack(t, sounds(), listeningIn(68))
	var text [2][]byte
	var figures [2]string
	for i := range text {
		_, r := solved(t, sh, Options{Seed: 3, Workers: i + 1})
		text[i] = mixplan.Format(r.Plan)
		for _, c := range r.Callouts {
			figures[i] += fmt.Sprintln(c.Plain, c.Planned, c.StepsPlanned, c.Against, c.Sentence)
		}
		figures[i] += fmt.Sprint(r.Shifts)
	}
	if !bytes.Equal(text[0], text[1]) || figures[0] != figures[1] {
		t.Errorf("one core:\n%s\ntwo:\n%s", text[0], text[1])
	}
}

// 10 dB in every band are 10 dB of loudness level; a dip costs less than its
// depth; silence costs nothing.
func TestLoss(t *testing.T) {
	spectrum := meet.Together(nil).Plus(0)
	for b := range spectrum {
		spectrum[b] = 70 - float64(b)/2
	}
	g := gainsDB(rate, nil, 10, 10)
	if l := lossDB(spectrum, g); math.Abs(l-10) > 1e-3 {
		t.Errorf("10 dB cost %.4f", l)
	}
	dip := gainsDB(rate, &mixplan.Dip{LowHz: 500, HighHz: 4000}, 10, 10)
	if l := lossDB(spectrum, dip); l < 1 || l > 8 {
		t.Errorf("a dip costs %.2f", l)
	}
	if l := lossDB(meet.Together(nil), g); l != 0 {
		t.Errorf("silence costs %g", l)
	}
}

// Cost grows with the number of callouts and no faster: ms-a-callout stays
// about what it is.
func BenchmarkSolve(b *testing.B) {
	for _, n := range []int{2, 16} {
		b.Run(fmt.Sprintf("%d callouts", n), func(b *testing.B) {
			s := sounds()
			for i := range n - 2 {
				s[fmt.Sprintf("callout-c%02d", i)] = talk(1.2+0.02*float64(i), -23, sii.Raised, uint64(10+i))
			}
			sh := pack(b, s, listeningIn(68))
			b.ReportAllocs()
			for b.Loop() {
				solved(b, sh, Options{Seed: 1})
			}
			b.ReportMetric(b.Elapsed().Seconds()*1000/float64(b.N*n), "ms-a-callout")
		})
	}
}
