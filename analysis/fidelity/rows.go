package fidelity

import "math"

// rows measures everything and fills the report, in the order of the
// product's table.
func (e *evaluation) rows() {
	e.orderRows()
	e.clickRow()
	e.colourRows()
	e.repetitionRows()
	e.tremorRows()
	e.otherRows()
}

var none = math.NaN()

func (e *evaluation) orderRows() {
	var got [3]OrderResult
	median := e.each(func(i int, t *Take) float64 { got[i] = OrderError(t); return got[i].MedianCents })
	p95 := e.each(func(i int, _ *Take) float64 { return got[i].P95Cents })
	drift := e.each(func(i int, _ *Take) float64 { return got[i].MaxDriftCycles })
	e.r.Order = got[theRender]
	medianTarget, p95Target := none, TargetSweepP95Cents
	if e.r.Steady {
		medianTarget, p95Target = TargetHoldMedianCents, TargetHoldP95Cents
	}
	how := "phase slope of the firing orders against the request"
	e.add(Row{Measure: "order error, median", How: how, Unit: "cents", Source: none, Target: medianTarget}, median)
	e.add(Row{Measure: "order error, 95 %", How: how, Unit: "cents", Source: none, Target: p95Target}, p95)
	e.add(Row{Measure: "drift", How: "rendered minus requested cycles, largest", Unit: "cycles", Source: none, Target: TargetDriftCycles}, drift)
}

func (e *evaluation) clickRow() {
	v := e.each(func(i int, t *Take) float64 {
		r := e.clicks.Clicks(t)
		if i == theRender {
			e.r.Clicks = r
		}
		return float64(len(r.Events))
	})
	e.add(Row{Measure: "clicks", How: "AR(32) residual and second difference against the sources' own", Unit: "events", Source: 0, Target: TargetClicks}, v)
}

func (e *evaluation) colourRows() {
	row := Row{Measure: "colour", How: "ERB-band log-spectral distance to a left-out hold", Unit: "dB", Source: none, Target: none}
	if e.ref == nil || !e.heldOut {
		e.add(row, [3]float64{none, none, none})
		return
	}
	v := e.each(func(i int, t *Take) float64 {
		r := Colour(t, e.ref)
		if i == theRender {
			e.r.Colour = r
		}
		return r.DistanceDB
	})
	row.Source = e.r.Colour.FloorDB
	row.Target = math.Min(TargetColourDB, row.Source+TargetColourOverFloor)
	e.add(row, v)
	v = e.each(func(i int, t *Take) float64 {
		r := STFT(t, e.ref)
		if i == theRender {
			e.r.STFT = r
		}
		return mean(r.Convergence)
	})
	e.add(Row{Measure: "spectral convergence", How: "short-time spectra of 8192 to 512, mean", Source: none, Target: none}, v)
}

func (e *evaluation) repetitionRows() {
	compare := e.sources
	if e.ref != nil {
		compare = []*Take{e.ref}
	}
	var peaks, left []float64
	for _, s := range compare {
		if r := Repetition(s, none); !math.IsNaN(r.Max) {
			peaks, left = append(peaks, r.Max), append(left, r.ResidualDB)
		}
	}
	source, residual := mean(peaks), mean(left)
	v := e.each(func(i int, t *Take) float64 {
		r := Repetition(t, residual)
		if i == theRender {
			e.r.Repetition = r
		}
		return r.Max
	})
	e.add(Row{Measure: "repetition", How: "correlation of cycle residuals at lags 0.05–3 s", Source: source,
		Target: source + TargetRepetitionExcess, Ideal: source}, v)
	if e.c.Grains == nil {
		return
	}
	g := CheckGrains(e.c.Grains)
	e.r.Grains = g
	e.add(Row{Measure: "grains again too soon", How: "same grain within 1 s or 3 grains, the shorter", Unit: "grains",
		Source: none, Target: TargetTooSoon}, [3]float64{float64(g.TooSoon), none, none})
	e.add(Row{Measure: "grain order periodic", How: "largest share of grains equal to those one lag before", Source: none,
		Target: TargetPeriodicShare}, [3]float64{g.PeriodicShare, none, none})
}

func (e *evaluation) tremorRows() {
	nan := [3]float64{none, none, none}
	slow, rough, floor := nan, nan, none
	if e.ref != nil {
		var got [3]TremorResult
		source := newTremorSource(e.ref, e.c.Render.RateHz)
		slow = e.each(func(i int, t *Take) float64 {
			got[i] = source.compare(t)
			return got[i].WorstSlowDB
		})
		rough = e.each(func(i int, _ *Take) float64 { return got[i].WorstRough })
		e.r.Tremor, floor = got[theRender], got[theRender].FloorDB
	}
	e.add(Row{Measure: "tremor 1–20 Hz", How: "envelope modulation in ERB bands, render minus source, worst band", Unit: "dB", Source: floor, Target: TargetTremorDB}, slow)
	e.add(Row{Measure: "tremor 20–150 Hz", How: "envelope modulation in ERB bands, render minus source, worst band", Unit: "dB", Source: floor, Target: TargetTremorDB}, rough)
}

func (e *evaluation) otherRows() {
	if e.ref != nil {
		v := e.each(func(i int, t *Take) float64 {
			r := LevelStep(t, e.ref)
			if i == theRender {
				e.r.LevelStep = r
			}
			return r.ExcessDB
		})
		e.add(Row{Measure: "level step", How: "SD of the level step from cycle to cycle, render minus source", Unit: "dB",
			Source: e.r.LevelStep.SourceSDDB, Target: TargetLevelStepDB}, v)
		v = e.each(func(i int, t *Take) float64 {
			r := HalfOrders(t, e.ref)
			if i == theRender {
				e.r.HalfOrders = r
			}
			return r.WorstDB
		})
		e.add(Row{Measure: "half orders", How: "orders between the firings re the dominant one, largest difference", Unit: "dB",
			Source: none, Target: TargetHalfOrderDB}, v)
	}
	if len(e.c.Shifted) == 0 {
		return
	}
	var takes []*Take
	for _, s := range e.c.Shifted {
		takes = append(takes, FromRender(s.Sound, s.Revs, e.c.Layout))
	}
	e.r.Formants = FormantHold(e.take[theRender], takes...)
	v := [3]float64{e.r.Formants.WorstPct, none, none}
	for i, s := range e.c.Shifted {
		// The anchor moved to the same revs shows what resampling does.
		if a, err := PlainResample([]*Take{e.take[theRender]}, s.Revs, s.Sound.DurationS()); err == nil {
			p := FormantHold(e.take[theRender], FromRender(a, s.Revs, e.c.Layout))
			if i == 0 || p.WorstPct > v[theResample] {
				v[theResample] = p.WorstPct
			}
		}
	}
	e.add(Row{Measure: "formants", How: "move of the three strongest envelope peaks while revs move", Unit: "%", Source: none, Target: TargetFormantPct}, v)
}

func mean(x []float64) float64 {
	var s float64
	for _, v := range x {
		s += v
	}
	return s / float64(len(x)) // NaN for none
}
