package solve

import (
	"math"

	"tachbench/analysis/sii"
	"tachbench/mixplan"
	"tachbench/mixplan/duck"
	"tachbench/mixplan/meet"
	"tachbench/samples"
)

// Envelope is how everything yields to one callout, over time.
type Envelope struct {
	FromS, StepS float64   // of the lines; FromS is before the callout, so negative
	Lines        []Yield   // in the order of the plan
	FrameS       float64   // of LevelDB, which begins with the callout
	LevelDB      []float64 // the callout at the ear in each frame, dB SPL; -Inf in silence
	Active       []bool    // by frame
	HallDB       float64   // in the same bands
}

// Yield is one category's attenuation, dB.
type Yield struct {
	Category string
	Duck     mixplan.Duck
	DB       []float64
}

const (
	envelopeLeadS  = 0.4
	envelopeAfterS = 1.6
)

// Envelope follows the ducking law along callout i.
func (r *Result) Envelope(pkg *meet.Package, i int) Envelope {
	s := pkg.Callouts[i]
	e := Envelope{FromS: -envelopeLeadS, StepS: 1.0 / courseRateHz, FrameS: pkg.StepS, Active: s.Active}
	overall := func(m *sii.Masker) float64 {
		sum := 0.0
		for k, p := range m {
			sum += p * samples.DBPower(sii.MaskerBandwidthDB[k])
		}
		return samples.PowerDB(sum)
	}
	e.HallDB = overall(&pkg.Hall)
	for f := range s.Power {
		e.LevelDB = append(e.LevelDB, overall(&s.Power[f]))
	}
	n := int(math.Round((envelopeLeadS + s.DurationS + envelopeAfterS) * courseRateHz))
	for _, d := range r.Plan.Ducks {
		if d.Under != meet.Callout {
			continue
		}
		law := d
		law.Dip = nil
		c := duck.New(courseRateHz, d.Category, []mixplan.Duck{law})
		for _, span := range s.Spans {
			c.Speak(meet.Callout, span.FromS+envelopeLeadS, span.ToS+envelopeLeadS)
		}
		y := Yield{d.Category, d, make([]float64, n)}
		c.Next(y.DB)
		e.Lines = append(e.Lines, y)
	}
	return e
}
