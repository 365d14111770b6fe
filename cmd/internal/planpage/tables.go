package planpage

import (
	"fmt"
	"math"

	"tachbench/cmd/internal/report"
	"tachbench/mixplan/solve"
)

// rpmMap is callouts over the engine's revs.
type rpmMap struct {
	Steps []mapStep
	Rows  []mapRow
}

type mapStep struct {
	RPM  string
	Band string // of the rev challenge, "" outside
	Hit  bool   // the band to be caught
}

type mapRow struct {
	Path  string
	Cells []cell
}

type cell struct {
	Before, After string
	Mark          mark
}

func newMap(r *solve.Report) *rpmMap {
	steps := report.PlanRPM(r)
	if len(steps) == 0 {
		return nil
	}
	m := &rpmMap{}
	for _, rpm := range steps {
		s := mapStep{RPM: fixed(rpm, 0)}
		for _, b := range r.Sheet.RevBands {
			if rpm >= b.FromRPM && rpm < b.ToRPM {
				s.Band, s.Hit = b.Name, b.Catch
			}
		}
		m.Steps = append(m.Steps, s)
	}
	for _, c := range r.Callouts {
		if math.IsNaN(c.Planned.P10) {
			continue
		}
		row := mapRow{Path: c.Sound.Path}
		for i := range steps {
			row.Cells = append(row.Cells, cell{hundredths(c.StepsPlain[i]), hundredths(c.StepsPlanned[i]), markOf(c.StepsPlanned[i])})
		}
		m.Rows = append(m.Rows, row)
	}
	return m
}

// hundredths writes an index as .52, for narrow cells.
func hundredths(v float64) string {
	s := index(v)
	if len(s) > 1 && s[0] == '0' {
		return s[1:]
	}
	return s
}

// matrix is who masks whom.
type matrix struct {
	Groups []string
	Rows   []matrixRow
}

type matrixRow struct {
	Name  string
	Cells []matrixCell
}

type matrixCell struct {
	Masks, Shape string
	Shade        float64 // 0..1
	Own          bool
}

func newMatrix(r *solve.Report) matrix {
	m := matrix{Groups: r.Clashes.Groups}
	for i, row := range r.Clashes.Matrix {
		out := matrixRow{Name: r.Clashes.Groups[i]}
		for j, c := range row {
			out.Cells = append(out.Cells, matrixCell{fixed(c.Masks, 2), fixed(c.Shape, 2), round2(0.75 * c.Masks), i == j})
		}
		m.Rows = append(m.Rows, out)
	}
	return m
}

func round2(v float64) float64 { return math.Round(v*100) / 100 }

// against is all callouts over one other sound alone: the worst of them.
type against struct {
	Path, Category, Callout, Before, After string
	Mark                                   mark
}

// newAgainst finds for each other sound the callout that suffers most; engine
// steps have the map.
func newAgainst(r *solve.Report) []against {
	var out []against
	if len(r.Callouts) == 0 {
		return nil
	}
	for k, a := range r.Callouts[0].Against {
		if a.RPM > 0 {
			continue
		}
		worst := -1
		for i, c := range r.Callouts {
			if !math.IsNaN(c.Against[k].Plain) && (worst < 0 || c.Against[k].Plain < r.Callouts[worst].Against[k].Plain) {
				worst = i
			}
		}
		if worst < 0 {
			continue
		}
		w := r.Callouts[worst].Against[k]
		out = append(out, against{a.Path, a.Category, r.Callouts[worst].Sound.Path, index(w.Plain), index(w.Planned), markOf(w.Planned)})
	}
	return out
}

// headroomChart is overruns an hour over the gain of the sum.
type headroomChart struct {
	Desc, Path      string
	PlanAt          float64
	Allowed         float64
	Gains, Rates    []tick
	Table           [][2]string
	Sentence, Habit string
}

type tick struct {
	At    float64
	Label string
}

// Charts are drawn on fieldW by fieldH units and stretched.
const (
	fieldW = 1000
	fieldH = 240
)

func newHeadroom(r *solve.Report) headroomChart {
	curve := report.PlanHeadroomCurve(r)
	lo, hi := curve[len(curve)-1].GainDB, curve[0].GainDB
	const least, most = 1.0, 10000.0 // an hour, log scale
	x := func(g float64) float64 { return round1(fieldW * (g - lo) / (hi - lo)) }
	y := func(v float64) float64 {
		v = math.Min(math.Max(v, least), most)
		return round1(fieldH * (1 - math.Log(v/least)/math.Log(most/least)))
	}
	c := headroomChart{Desc: "Overruns over full scale an hour, on a log scale from 1 to 10000, over the gain of the sum from −9 to +3 dB."}
	for i := len(curve) - 1; i >= 0; i-- {
		op := "L"
		if c.Path == "" {
			op = "M"
		}
		c.Path += fmt.Sprintf("%s%g %g", op, x(curve[i].GainDB), y(curve[i].PerHour))
		c.Table = append(c.Table, [2]string{fixed(curve[i].GainDB, 1), fixed(curve[i].PerHour, 0)})
	}
	c.PlanAt, c.Allowed = x(r.Plan.BusGainDB), y(r.Allowed)
	for g := lo; g <= hi; g += 3 {
		c.Gains = append(c.Gains, tick{x(g) / fieldW * 100, fixed(g, 0)})
	}
	for v := least; v <= most; v *= 10 {
		c.Rates = append(c.Rates, tick{y(v) / fieldH * 100, fixed(v, 0)})
	}
	o := r.WithPlan
	c.Sentence = fmt.Sprintf("With the plan's gain of %s dB the sum ran over full scale %s in %d minutes of simulated play: %s an hour, 95 %% between %s and %s; allowed %s.",
		fixed(r.Plan.BusGainDB, 1), report.Times(o.Count), r.Headroom.Minutes, fixed(o.PerHour, 0), fixed(o.LoPerHour, 0), fixed(o.HiPerHour, 0), fixed(r.Allowed, 1))
	for _, v := range r.Headroom.Rates {
		if c.Habit != "" {
			c.Habit += "; "
		}
		if v.From == "always" {
			c.Habit += v.Category + " always"
			continue
		}
		c.Habit += fmt.Sprintf("%s %s a minute (%s)", v.Category, fixed(v.PerMin, 1), map[string]string{"scenes": "from the scenes", "given": "as given", "habit": "assumed, no scene says"}[v.From])
	}
	return c
}
