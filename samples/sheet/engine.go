package sheet

import (
	"tachbench/samples/crank"
)

// Engine is the table [engine].
type Engine struct {
	Cylinders    int       // 1..16
	Strokes      int       // strokes per engine cycle: 2 or 4
	FiringAngles []float64 // crank degrees in one engine cycle; nil = even firing
	IdleRPM      float64   // 100..20000
	RedlineRPM   float64   // 200..30000, above IdleRPM
	Crank        Crank
	Recordings   []Recording // in the order of the sheet; may be empty
}

// Layout returns how the engine fires; it is valid.
func (e *Engine) Layout() crank.Layout {
	return crank.Layout{Cylinders: e.Cylinders, Strokes: e.Strokes, Firing: e.FiringAngles}
}

// Crank is the table [engine.crank]: how the revs answer the lever. What is
// nil comes from the preset.
type Crank struct {
	Preset string // "" if not given; its name is not checked here

	RiseS          *float64 // idle to redline at full lever, 0.05..60
	FallS          *float64 // redline to idle with the lever shut, 0.05..120
	LagS           *float64 // from lever to torque, 0..5
	IdleWanderRPM  *float64 // how far the idle hunts, 0..2000
	IdleSettleS    *float64 // how fast the idle settles, 0.01..60
	LimiterDropRPM *float64 // how far the limiter lets the revs drop, 0..5000
	LimiterHz      *float64 // how often it cuts, 0.5..100
}

// Recording is one entry of [[engine.recording]]: a hold if RPM is given, a
// pull or coast-down if RPMFrom or RPMTo is, and if none is, whatever the
// measurement says.
type Recording struct {
	Key  string // for Sheet.Errorf
	File Path
	RPM  *float64 // 60..30000
	Load float64  // 0 overrun .. 1 full load; default 1

	// RPMFrom and RPMTo are hints for the tracker, 60..30000, each may be nil.
	RPMFrom, RPMTo *float64
}

var (
	rpmLimits  = limits{60, 30000, "rpm"}
	loadLimits = limits{0, 1, ""}
)

func (d *decoder) engine(t *table) *Engine {
	if t == nil {
		return nil
	}
	e := &Engine{}
	cylinders := limits{1, 16, ""}
	if !t.has("cylinders") {
		t.missing("cylinders", "a whole number, "+cylinders.String())
	}
	e.Cylinders = or(t.whole("cylinders", cylinders), 0)
	if !t.has("strokes") {
		t.missing("strokes", "2 or 4")
	}
	e.Strokes = or(t.choice("strokes", 2, 4), 0)
	e.FiringAngles = t.firingAngles(e.Cylinders, e.Strokes)
	e.IdleRPM = or(t.needFloat("idle_rpm", limits{100, 20000, "rpm"}), 0)
	e.RedlineRPM = or(t.needFloat("redline_rpm", limits{200, 30000, "rpm"}), 0)
	if e.IdleRPM > 0 && e.RedlineRPM > 0 && e.IdleRPM >= e.RedlineRPM {
		t.fail(t.sub("redline_rpm"), "must be above idle_rpm ("+number(e.IdleRPM)+"), not "+number(e.RedlineRPM), "")
	}
	if c := t.child("crank"); c != nil {
		e.Crank = c.crank()
	}
	e.Recordings = d.recordings(t.children("recording"))
	t.done()
	return e
}

func (t *table) firingAngles(cylinders, strokes int) []float64 {
	list, ok := t.list("firing_angles", "crank degrees")
	if !ok {
		return nil
	}
	key := t.sub("firing_angles")
	angles := make([]float64, 0, len(list))
	good := true
	for i, v := range list {
		a, ok := t.checkNumber(entryKey(key, i+1), v, limits{0, 720, "degrees"})
		good = good && ok
		angles = append(angles, a)
	}
	// The layout can be judged only with everything else about it right.
	if !good || cylinders == 0 || strokes == 0 {
		return nil
	}
	if err := (crank.Layout{Cylinders: cylinders, Strokes: strokes, Firing: angles}).Validate(); err != nil {
		t.fail(key, err.Error(), "one angle per cylinder, ascending, in one engine cycle")
		return nil
	}
	return angles
}

func (t *table) crank() Crank {
	c := Crank{
		Preset:         t.text("preset"),
		RiseS:          t.float("rise_s", limits{0.05, 60, "s"}),
		FallS:          t.float("fall_s", limits{0.05, 120, "s"}),
		LagS:           t.float("lag_s", limits{0, 5, "s"}),
		IdleWanderRPM:  t.float("idle_wander_rpm", limits{0, 2000, "rpm"}),
		IdleSettleS:    t.float("idle_settle_s", limits{0.01, 60, "s"}),
		LimiterDropRPM: t.float("limiter_drop_rpm", limits{0, 5000, "rpm"}),
		LimiterHz:      t.float("limiter_hz", limits{0.5, 100, "Hz"}),
	}
	t.done()
	return c
}

func (d *decoder) recordings(tables []*table) []Recording {
	var out []Recording
	first := map[string]string{} // file → key of the entry that named it
	for _, t := range tables {
		r := Recording{
			Key:     t.key,
			RPM:     t.float("rpm", rpmLimits),
			Load:    or(t.float("load", loadLimits), 1),
			RPMFrom: t.float("rpm_from", rpmLimits),
			RPMTo:   t.float("rpm_to", rpmLimits),
		}
		if p := t.needFile("file", "a recording, relative to the sheet"); p != nil {
			r.File = *p
			if key, twice := first[p.Rel]; twice {
				d.warn(t.sub("file"), quote(p.Rel)+" is named by "+key+" already", "")
			} else {
				first[p.Rel] = t.key
			}
		}
		if t.has("rpm") {
			for _, name := range []string{"rpm_from", "rpm_to"} {
				if t.has(name) {
					t.fail(t.sub(name), "does not go with rpm", "rpm is for a steady hold, rpm_from and rpm_to are for a pull")
				}
			}
		}
		if r.RPMFrom != nil && r.RPMTo != nil && *r.RPMFrom == *r.RPMTo {
			t.fail(t.sub("rpm_to"), "must differ from rpm_from ("+number(*r.RPMFrom)+")", "for a steady hold write rpm")
		}
		t.done()
		if r.File != (Path{}) {
			out = append(out, r)
		}
	}
	return out
}
