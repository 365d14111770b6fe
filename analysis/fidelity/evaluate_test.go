package fidelity

import (
	"math"
	"testing"

	"tachbench/samples"
)

// sledCase is a render that is a true take of the engine, so it must pass;
// tests break it in one way at a time.
func sledCase(t testing.TB, seconds float64) Case {
	t.Helper()
	cut := func(r Recording, from, to float64) Recording {
		a, b := int(from*48000), int(to*48000)
		out := Recording{r.Sound.Slice(a, b), nil}
		tr := *r.Track
		tr.StartS -= from
		out.Track = &tr
		return out
	}
	long := engine(sled, Hold(3500), 3*seconds, 1)
	held := cut(long, seconds, 2*seconds)
	c := Case{Render: long.Sound.Slice(0, int(seconds*48000)), Revs: Hold(3500), Layout: sled, HeldOut: &held,
		Sources: []Recording{cut(long, 2*seconds, 3*seconds), engine(sled, Hold(2500), seconds, 1), engine(sled, Hold(5000), seconds, 1)}}
	for _, rpm := range []float64{3150, 3850} {
		c.Shifted = append(c.Shifted, Shifted{engine(sled, Hold(rpm), seconds, 1).Sound, Hold(rpm)})
	}
	for i := range int(seconds * 58) {
		c.Grains = append(c.Grains, GrainUse{i*i*31%9973 + i, float64(i) / 58.3})
	}
	return c
}

func row(t *testing.T, r *Report, name string) Row {
	t.Helper()
	for _, row := range r.Rows {
		if row.Measure == name {
			return row
		}
	}
	t.Fatalf("no row %q", name)
	return Row{}
}

func show(t *testing.T, r *Report) {
	t.Helper()
	for _, w := range r.Rows {
		verdict := "-"
		if w.Pass != nil {
			verdict = map[bool]string{true: "pass", false: "FAIL"}[*w.Pass]
		}
		t.Logf("%-22s %8.3f %-6s source %7.3f target %7.3f %s  loop %8.3f resample %8.3f", w.Measure, w.Value, w.Unit, w.Source, w.Target, verdict, w.AnchorLoop, w.AnchorResample)
	}
	for _, n := range r.Notes {
		t.Log(n)
	}
}

func TestEvaluateTrueNote(t *testing.T) {
	r, err := Evaluate(sledCase(t, 3))
	if err != nil {
		t.Fatal(err)
	}
	show(t, r)
	if ok, failed := r.Passed(); !ok {
		t.Errorf("%d rows of a true note fail", failed)
	}
	for _, w := range r.Rows {
		if math.IsNaN(w.Value) {
			t.Errorf("%s is absent", w.Measure)
		}
	}
	for _, name := range []string{"colour", "repetition", "half orders"} {
		if b := row(t, r, name).BeatsLoop(); b == nil || !*b {
			t.Errorf("%s: a true note does not beat the frozen loop", name)
		}
	}
	if b := row(t, r, "formants").BeatsResample(); b == nil || !*b {
		t.Error("formants: a true note does not beat plain resampling")
	}
}

// Each way of breaking the note must fail in its row.
func TestEvaluateBrokenNotes(t *testing.T) {
	if testing.Short() {
		t.Skip("long, and without a second goroutine")
	}
	base := sledCase(t, 3)
	for _, b := range []struct {
		row     string
		measure func(*evaluation)
		spoil   func(c *Case)
	}{
		{"order error, median", (*evaluation).orderRows, func(c *Case) { c.Render = engine(sled, Hold(3535), 3, 1).Sound }},
		{"drift", (*evaluation).orderRows, func(c *Case) { c.Render = engine(sled, Hold(3520), 3, 1).Sound }},
		{"clicks", (*evaluation).clickRow, func(c *Case) { c.Render.Chans[0][77777] += 0.1 }},
		{"colour", (*evaluation).colourRows, func(c *Case) { c.Render = mono(tilt(c.Render.Chans[0], 0.3)) }},
		{"repetition", (*evaluation).repetitionRows, func(c *Case) {
			src, _ := FromRecording(base.Sources[0], sled)
			loop, _ := loopCycles(src, 10, func(i int) int { return i }, 3)
			c.Render = mono(loop.X)
		}},
		{"grains again too soon", (*evaluation).repetitionRows, func(c *Case) { c.Grains[10].ID = c.Grains[9].ID }},
		{"tremor 1–20 Hz", (*evaluation).tremorRows, func(c *Case) {
			for i := range c.Render.Chans[0] {
				c.Render.Chans[0][i] *= 1 + 0.15*math.Sin(2*math.Pi*5*float64(i)/48000)
			}
		}},
		{"level step", (*evaluation).otherRows, func(c *Case) {
			for i := range c.Render.Chans[0] {
				c.Render.Chans[0][i] *= 1 + 0.1*math.Pow(-1, math.Floor(float64(i)/48000*3500/60))
			}
		}},
		{"formants", (*evaluation).otherRows, func(c *Case) {
			src := FromRender(c.Render, c.Revs, sled)
			s, _ := PlainResample([]*Take{src}, Hold(3850), 3)
			c.Shifted = []Shifted{{s, Hold(3850)}}
		}},
	} {
		c := base
		c.Render = samples.NewSound(48000, 1, base.Render.Frames())
		copy(c.Render.Chans[0], base.Render.Chans[0])
		c.Grains = append([]GrainUse(nil), base.Grains...)
		b.spoil(&c)
		e, err := prepare(c)
		if err != nil {
			t.Fatal(err)
		}
		b.measure(e)
		if w := row(t, e.r, b.row); w.Pass == nil || *w.Pass {
			t.Errorf("%s: a broken note passes with %.3f, target %.3f", b.row, w.Value, w.Target)
		}
	}
}

func TestEvaluateSweep(t *testing.T) {
	if testing.Short() {
		t.Skip("long, and without a second goroutine")
	}
	revs := Sweep(1500, 8000, 8)
	c := Case{Render: engine(sled, revs, 8, 1).Sound, Revs: revs, Layout: sled}
	for _, rpm := range []float64{1500, 2500, 3500, 5000, 8000} {
		c.Sources = append(c.Sources, engine(sled, Hold(rpm), 3, 1))
	}
	r, err := Evaluate(c)
	if err != nil {
		t.Fatal(err)
	}
	show(t, r)
	if ok, failed := r.Passed(); !ok || r.Steady {
		t.Errorf("%d rows of a true sweep fail", failed)
	}
}

func TestEvaluateBadInput(t *testing.T) {
	good := sledCase(t, 2)
	for name, spoil := range map[string]func(*Case){
		"NaN revs":   func(c *Case) { c.Revs = Hold(math.NaN()) },
		"zero revs":  func(c *Case) { c.Revs = Hold(0) },
		"no sources": func(c *Case) { c.Sources = nil },
		"layout":     func(c *Case) { c.Layout.Strokes = 3 },
	} {
		c := good
		spoil(&c)
		if _, err := Evaluate(c); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
	c := good
	c.Render, c.Shifted, c.HeldOut = samples.NewSound(48000, 1, 1), nil, nil
	if r, err := Evaluate(c); err != nil {
		t.Error(err)
	} else if w := row(t, r, "order error, median"); !math.IsNaN(w.Value) || w.Pass != nil {
		t.Errorf("order error of one sample: %+v", w)
	}
}

func BenchmarkEvaluate(b *testing.B) {
	c := sledCase(b, 10)
	for b.Loop() {
		if _, err := Evaluate(c); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(10*float64(b.N)/b.Elapsed().Seconds(), "x-realtime")
}
