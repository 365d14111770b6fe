package engine

import (
	"fmt"
	"io"
	"math"

	"tachbench/samples"
	"tachbench/samples/sheet"
	"tachbench/synth/curve"
	"tachbench/synth/note"
	"tachbench/synth/revs"
)

// CeilingDBFS is the highest sample peak a rendered note is left with; a
// louder one is turned down as a whole. It leaves room for the true peak
// (EBU R 128 asks for -1 dBTP at most).
const CeilingDBFS = -1.5

// Take is a rendered note.
type Take struct {
	Sound    *samples.Sound
	PeakDBFS float64 // sample peak as rendered, after GainDB
	GainDB   float64 // what the whole note was turned down by; 0 or negative
	HeldS    float64 // seconds in which the request lay beyond the bank's reach
}

// Render plays the note along a curve, to the curve's end.
func (e *Engine) Render(c *curve.Curve, seed uint64) Take {
	b := e.Bank
	frames := int(math.Round(c.DurationS() * float64(b.RateHz)))
	n := note.New(b, note.Options{Seed: seed, Source: c, Frames: int64(max(1, frames))})
	t := Take{Sound: samples.NewSound(b.RateHz, b.Channels, frames)}
	n.Fill(t.Sound.Chans)
	t.HeldS = n.HeldS()
	peak := 0.0
	for _, ch := range t.Sound.Chans {
		for _, v := range ch {
			peak = math.Max(peak, math.Abs(v))
		}
	}
	t.PeakDBFS = samples.AmplitudeDB(peak)
	if t.PeakDBFS > CeilingDBFS {
		t.GainDB = CeilingDBFS - t.PeakDBFS
		g := samples.DBAmplitude(t.GainDB)
		for _, ch := range t.Sound.Chans {
			for i := range ch {
				ch[i] *= g
			}
		}
		t.PeakDBFS = CeilingDBFS
	}
	return t
}

// workedHopS is the grid on which the crank model is read.
const workedHopS = 0.005

// Crank returns the crank model of a sheet's engine.
func Crank(sh *sheet.Sheet, seed uint64) (*revs.Model, error) {
	k := sh.Engine.Crank
	m, err := revs.New(revs.Spec{
		Preset: k.Preset, IdleRPM: sh.Engine.IdleRPM, RedlineRPM: sh.Engine.RedlineRPM,
		RiseS: k.RiseS, FallS: k.FallS, LagS: k.LagS, IdleWanderRPM: k.IdleWanderRPM,
		IdleSettleS: k.IdleSettleS, LimiterDropRPM: k.LimiterDropRPM, LimiterHz: k.LimiterHz,
	}, seed)
	if err != nil {
		return nil, sh.Errorf("engine.crank", "%s", err)
	}
	return m, nil
}

// Worked reads lever rows from r and runs the sheet's crank model under them,
// to the last row and extraS seconds beyond (1 s if extraS is 0).
func Worked(sh *sheet.Sheet, name string, r io.Reader, extraS float64, seed uint64) (*curve.Curve, error) {
	lever, err := revs.ParseLever(r, name)
	if err != nil {
		return nil, err
	}
	m, err := Crank(sh, seed)
	if err != nil {
		return nil, err
	}
	if extraS == 0 {
		extraS = 1
	}
	length := extraS
	if n := len(lever.TimeS); n > 0 {
		length += lever.TimeS[n-1]
	}
	if length > 24*3600 {
		return nil, fmt.Errorf("%s: the last row is at %g s; a day is the most", name, length-extraS)
	}
	tr := revs.Run(m, lever, length, workedHopS)
	points := make([]curve.Point, len(tr.TimeS))
	for i := range points {
		points[i] = curve.Point{TimeS: tr.TimeS[i], RPM: tr.RPM[i], Load: math.Max(0, math.Min(1, tr.Load[i]))}
	}
	return curve.New(points)
}
