package meet_test

import (
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
	"tachbench/mixplan/ear"
	"tachbench/mixplan/meet"
	"tachbench/samples"
	"tachbench/samples/file"
	"tachbench/samples/sheet"
	"tachbench/samples/tone"
	"tachbench/samples/wav"
)

const rate = 48000

// shaped returns noise of random phase whose third octaves from 160 Hz to
// 8 kHz have exactly the given levels, dB re mean square 1.
func shaped(seconds float64, bandDBFS sii.Levels, seed uint64) *samples.Sound {
	n := int(seconds*rate) &^ 1
	r := rand.New(rand.NewPCG(seed, 3))
	lines := make([]complex128, n/2+1)
	for i, db := range bandDBFS {
		lo, hi := band.Edges(i - 8)
		from, to := int(math.Ceil(lo*float64(n)/rate)), int(math.Ceil(hi*float64(n)/rate))
		a := math.Sqrt(2*samples.DBPower(db)/float64(to-from)) / 2
		for k := from; k < to; k++ {
			lines[k] = cmplx.Rect(a, 2*math.Pi*r.Float64())
		}
	}
	s := samples.NewSound(rate, 1, n)
	fourier.NewFFT(n).Sequence(s.Chans[0], lines)
	return s
}

// speechDBFS is the standard speech spectrum of an effort as band levels,
// whose sum is levelDBFS.
func speechDBFS(effort sii.Effort, levelDBFS float64) (l sii.Levels) {
	e := sii.Speech(effort, 1, sii.Levels{})
	for i := range l {
		l[i] = e[i] + sii.BandwidthDB[i] + levelDBFS - sii.OverallDB(e)
	}
	return l
}

// pack writes a package and reads its sheet.
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
	text := "title = \"Test\"\nsample_rate = 48000\nbit_depth = 24\n" + rest
	for _, c := range []string{"callout", "effect", "music"} {
		if f := categories[c]; f != nil {
			text += fmt.Sprintf("[category.%s]\nfiles = [%s]\n", c, strings.Join(f, ", "))
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

func read(t testing.TB, sh *sheet.Sheet) *meet.Package {
	t.Helper()
	p, err := meet.Read(context.Background(), sh, meet.Options{})
	if err != nil {
		t.Fatal(err)
	}
	return p
}

const listening = "[listening]\nlevel_at_ear_db = 82\nnoise_dba = 60\nnoise_shape = \"pink\"\n"

// fullScale is the dB SPL of 0 dBFS RMS under that sheet without a low cut:
// pink noise of -20 dBFS is 82 dB.
const fullScale = 102

// Speech-shaped noise of a known level against white or pink noise of a known
// level, as WAV files through the whole chain: the index computed by hand from
// the levels that were put in, within 0.01. The masker is steady, so short
// frames may not change the answer.
func TestEndToEnd(t *testing.T) {
	for _, c := range []struct {
		what           string
		effort         sii.Effort
		speech, masker float64 // dBFS
		perHz          bool    // white, else pink
	}{
		{"raised in white", sii.Raised, -22, -28, true},
		{"raised in pink", sii.Raised, -22, -26, false},
		{"loud in pink", sii.Loud, -18, -22, false},
		{"normal, hardly any masker", sii.Normal, -20, -60, false},
	} {
		speech := speechDBFS(c.effort, c.speech)
		var masker sii.Levels
		for i := range masker {
			if c.perHz {
				masker[i] = sii.BandwidthDB[i]
			}
		}
		sum := 0.0
		for _, v := range masker {
			sum += samples.DBPower(v)
		}
		for i := range masker {
			masker[i] += c.masker - samples.PowerDB(sum)
		}
		p := read(t, pack(t, map[string]*samples.Sound{"callout-a": shaped(3, speech, 1), "music-a": shaped(12, masker, 2)}, listening))
		var e, n sii.Levels
		hall, err := ear.Hall(ear.Pink, 60)
		if err != nil {
			t.Fatal(err)
		}
		for i := range e {
			e[i] = speech[i] + fullScale - sii.BandwidthDB[i]
			at := samples.DBPower(masker[i]+fullScale) + samples.DBPower(hall[ear.SpeechFrom+i])
			n[i] = samples.PowerDB(at) - sii.BandwidthDB[i]
		}
		want, _ := sii.Index(e, n, sii.Levels{}, sii.AverageSpeech)
		q := p.Prepare(0, p.Callouts[0].Listener(), p.Meetings(0, 1))
		got := 0.0
		for m := range q.Meetings() {
			got += q.Index(m, &p.Hall, p.Unity()) / float64(q.Meetings())
		}
		if math.Abs(got-want) > 0.01 {
			t.Errorf("%s: %.4f, by hand %.4f", c.what, got, want)
		}
		t.Logf("%s: %.4f, by hand %.4f", c.what, got, want)
	}
}

func TestSpeechIsFoundAndPausesAreNot(t *testing.T) {
	// 1 s of speech, 0.5 s of silence, 0.5 s of speech, 0.1 s of silence, 0.4 s.
	s := shaped(2.5, speechDBFS(sii.Raised, -20), 4)
	for i := range s.Chans[0] {
		if at := float64(i) / rate; at >= 1 && at < 1.5 || at >= 2 && at < 2.1 {
			s.Chans[0][i] = 0
		}
	}
	p := read(t, pack(t, map[string]*samples.Sound{"callout-a": s}, listening))
	c := p.Callouts[0]
	for i, on := range c.Active {
		at := (float64(i) + 0.5) * p.StepS
		if at > 1.02 && at < 1.48 && on {
			t.Errorf("speech at %.2f s, in a pause of half a second", at)
		}
		if (at < 0.98 || at > 1.52 && at < 2.45) && !on {
			t.Errorf("no speech at %.2f s", at)
		}
	}
	// -20 dBFS are 82 dB SPL here. The long pause may not lower that, the
	// bridged one does: 1.9 s of 2.0 s, 0.22 dB.
	if l := sii.OverallDB(c.Speech); math.Abs(l-81.78) > 0.15 {
		t.Errorf("speech level %.2f dB, not 81.78", l)
	}
	if len(c.Spans) != 2 {
		t.Errorf("%d stretches: %v", len(c.Spans), c.Spans)
	}
}

func small(t testing.TB) *meet.Package {
	return read(t, pack(t, map[string]*samples.Sound{
		"callout-a": shaped(1, speechDBFS(sii.Loud, -20), 1), "callout-b": shaped(0.8, speechDBFS(sii.Raised, -24), 2),
		"callout-silent": tone.Silence(rate, 1, 1),
		"effect-a":       tone.White(rate, 1, 0.3, 0.1, 3), "effect-b": tone.Pink(rate, 0.7, 0.05, 4),
		"music-a": tone.Pink(rate, 9, 0.05, 5),
	}, listening))
}

// Laws: more hall never helps, more yielding never hurts, an index lies in
// 0..1, silence has none, and the order of calls does not matter.
func TestLaws(t *testing.T) {
	p := small(t)
	l := p.Callouts[0].Listener()
	for i := range p.Callouts {
		q := p.Prepare(i, l, p.Meetings(i, 7))
		if !q.Speaks() {
			if p.Callouts[i].Path != "callout-silent.wav" || !math.IsNaN(q.Index(0, &p.Hall, p.Unity())) {
				t.Errorf("%s has no speech", p.Callouts[i].Path)
			}
			continue
		}
		loud, soft := p.Hall, p.Unity()
		for k := range loud {
			loud[k] *= 4
			soft[1][k] = 0.3
		}
		for m := range q.Meetings() {
			v := q.Index(m, &p.Hall, p.Unity())
			if v < 0 || v > 1 {
				t.Fatalf("index %g", v)
			}
			if w := q.Index(m, &loud, p.Unity()); w > v+1e-9 {
				t.Fatalf("a louder hall helps: %g, %g", v, w)
			}
			if w := q.Index(m, &p.Hall, soft); w < v-1e-9 {
				t.Fatalf("music that yields hurts: %g, %g", v, w)
			}
		}
	}
}

// The seed and the callout's own name decide its meetings, nothing else.
func TestMeetingsAreSeeded(t *testing.T) {
	p := small(t)
	a, b := p.Meetings(0, 1), p.Meetings(0, 1)
	if !slices.EqualFunc(a, b, func(x, y meet.Meeting) bool { return x.Step == y.Step && slices.Equal(x.With, y.With) }) {
		t.Error("same seed, other meetings")
	}
	c := p.Meetings(0, 2)
	if slices.EqualFunc(a, c, func(x, y meet.Meeting) bool { return slices.Equal(x.With, y.With) }) {
		t.Error("another seed, same meetings")
	}
	for _, m := range a {
		if len(m.With) != 2 {
			t.Fatalf("%d sounds in a meeting, not one of each category", len(m.With))
		}
	}
}

// Check value 45 of the intelligibility sheet: p = (.5,.3,.2,0),
// q = (.1,.3,.3,.3) overlap by 0.6.
func TestOverlap(t *testing.T) {
	p, q := ear.Silence(), ear.Silence()
	for i, v := range [][2]float64{{.5, .1}, {.3, .3}, {.2, .3}, {0, .3}} {
		p[ear.SpeechFrom+i], q[ear.SpeechFrom+i] = samples.PowerDB(1e6*v[0]), samples.PowerDB(1e6*v[1])
	}
	if c := meet.Overlap(p, q, nil); math.Abs(c.Shape-0.6) > 1e-9 {
		t.Errorf("overlap %g, not 0.6", c.Shape)
	}
	if a, b := meet.Overlap(p, q, nil), meet.Overlap(q, p, nil); a.Shape != b.Shape {
		t.Errorf("not symmetric: %g, %g", a.Shape, b.Shape)
	}
	if c := meet.Overlap(p, p.Plus(-7), nil); math.Abs(c.Shape-1) > 1e-9 {
		t.Errorf("a spectrum and itself: %g", c.Shape)
	}
	if c := meet.Overlap(p.Plus(60), q, &sii.AverageSpeech); c.Masks < 0.99 {
		t.Errorf("60 dB more hide %g", c.Masks)
	}
	if c := meet.Overlap(p.Plus(-60), q, nil); c.Masks > 0.01 {
		t.Errorf("60 dB less hide %g", c.Masks)
	}
	if c := meet.Overlap(ear.Silence(), q, &sii.AverageSpeech); c != (meet.Clash{}) {
		t.Errorf("silence clashes: %v", c)
	}
}

func TestBadPackages(t *testing.T) {
	sh := pack(t, map[string]*samples.Sound{"music-a": tone.Pink(rate, 1, 0.1, 1)}, listening)
	if _, err := meet.Read(context.Background(), sh, meet.Options{}); err == nil || !strings.Contains(err.Error(), `no category "callout"`) {
		t.Errorf("no callouts: %v", err)
	}
	sh = pack(t, map[string]*samples.Sound{"callout-a": tone.Pink(rate, 1, 0.1, 1)}, "")
	p := read(t, sh)
	if len(p.Notes) < 3 { // listening assumed, no engine, nothing else
		t.Errorf("notes: %q", p.Notes)
	}
	// A whole-file loss is an error that names the file.
	sh = pack(t, map[string]*samples.Sound{"callout-a": tone.Pink(rate, 1, 0.1, 1)}, listening)
	if err := os.WriteFile(sh.Category("callout").Files[0].Abs, []byte("no sound"), 0o666); err != nil {
		t.Fatal(err)
	}
	if _, err := meet.Read(context.Background(), sh, meet.Options{}); err == nil || !strings.Contains(err.Error(), "callout-a.wav") {
		t.Errorf("broken file: %v", err)
	}
}

func BenchmarkIndex(b *testing.B) {
	p := small(b)
	q := p.Prepare(0, p.Callouts[0].Listener(), p.Meetings(0, 1))
	g := p.Unity()
	b.ReportAllocs()
	for b.Loop() {
		q.Index(3, &p.Hall, g)
	}
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "meetings/s")
}

// An event that covers the first half of a callout masks these moments and no
// others, by the index of ANSI S3.5 for the levels put in; the index of the
// meeting is the mean of its moments, and asking for them does not allocate.
func TestMomentsOfAMeeting(t *testing.T) {
	p := small(t)
	c, event := p.Callouts[0], p.Buses[0].Sounds[0]
	half := len(c.Power) / 2
	var steady sii.Masker
	for i, e := range c.Speech {
		steady[sii.LowBands+i] = samples.DBPower(e + 2)
	}
	event.DurationS, event.Power = 0.5, make([]sii.Masker, half)
	for i := range event.Power {
		event.Power[i] = steady
	}
	q := p.Prepare(0, c.Listener(), []meet.Meeting{{With: nil, Step: -1}, {With: []meet.Present{{Bus: 0, Sound: 0, At: 0}}, Step: -1}})
	got, gains := make([]float64, q.Moments()), p.Unity()
	if n := testing.AllocsPerRun(10, func() { q.IndexMoments(got, 1, &p.Hall, gains) }); n > 0 {
		t.Errorf("%g allocations", n)
	}
	at := p.Moments(0)
	if len(got) != len(at) || len(got) != meet.Moments {
		t.Fatalf("%d moments, %d times", len(got), len(at))
	}
	sum := 0.0
	for i, v := range got {
		m := p.Hall
		for k := range m {
			if at[i] < float64(half)*p.StepS {
				m[k] += steady[k]
			}
			m[k] = samples.PowerDB(m[k])
		}
		if want, _ := sii.IndexMasked(c.Speech, m, sii.Levels{}, sii.AverageSpeech); math.Abs(v-want) > 1e-6 {
			t.Errorf("at %.3f s: %.5f, by the standard %.5f", at[i], v, want)
		}
		sum += v
	}
	if v := q.Index(1, &p.Hall, gains); math.Abs(v-sum/float64(len(got))) > 1e-12 {
		t.Errorf("index %.6f, mean of the moments %.6f", v, sum/float64(len(got)))
	}
}

// A masker weighs as much as its bands count in what is said: by
// Table 3 or Table B.2 for a callout of its own, by the mean of both for the two
// together.
func TestOverlapWeighsWhatIsSaid(t *testing.T) {
	speech, masker := ear.Silence(), ear.Silence()
	for b := ear.SpeechFrom; b < ear.SpeechFrom+sii.Bands; b++ {
		speech[b] = 60
	}
	// Masking spreads upwards only: these bands are hidden and no others.
	const from = sii.Bands - 7
	var a, w float64
	for i := from; i < sii.Bands; i++ {
		masker[ear.SpeechFrom+i] = 120
		a, w = a+sii.AverageSpeech.Band[i], w+sii.NU6.Band[i]
	}
	sentence, word := &meet.Sound{}, &meet.Sound{OneWord: true}
	share := func(of ...*meet.Sound) float64 {
		i := meet.ImportanceOf(of)
		return meet.Overlap(masker, speech, &i).Masks
	}
	if math.Abs(a-w) < 0.02 {
		t.Fatal("the two functions agree: the case says nothing")
	}
	for _, c := range []struct {
		what      string
		got, want float64
	}{{"sentence", share(sentence), a}, {"word", share(word), w}, {"both", share(sentence, word), (a + w) / 2}} {
		if math.Abs(c.got-c.want) > 1e-3 {
			t.Errorf("%s: %.4f hidden, not %.4f", c.what, c.got, c.want)
		}
	}
}
