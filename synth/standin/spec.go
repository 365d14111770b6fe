package standin

import (
	"fmt"
	"math"

	"tachbench/samples/crank"
)

// Spec describes an engine and how it sounds.
type Spec struct {
	Layout              crank.Layout
	IdleRPM, RedlineRPM float64

	Pipe      []Segment // from the exhaust ports to the open end; at least one
	RunnerM   []float64 // extra pipe of each cylinder before they meet, metres; nil = none
	IntakeM   float64   // intake pipe, metres
	BlowdownS float64   // time constant of the body of an exhaust pulse, seconds

	// Coefficients of variation (SD/mean) of the pulse strength from cycle to
	// cycle: at idle, at full load, on the overrun. The usual measure is the
	// COV of indicated mean effective pressure; up to 3..5 % under a warm
	// load, about 10 % at the limit of driveability, worse at idle (Heywood,
	// Internal Combustion Engine Fundamentals, 1988, ch. 9).
	COVIdle, COVLoad, COVOverrun float64

	// RevsDB is how much stronger a pulse is at the redline than at idle with
	// the same load: filling, and a two-stroke coming onto its pipe.
	RevsDB float64

	// CylinderSpread scales the fixed differences between cylinders: 0.1
	// makes them differ by about ±10 % in strength and ±1 degree in timing.
	CylinderSpread float64

	FlowNoise, IntakeNoise, Clatter float64 // 1 = usual
	WhineOrder, Whine               float64 // a gear or fan: order and level; 1 = usual, 0 = none
}

// Segment is a stretch of pipe of one width.
type Segment struct {
	LengthM, AreaCM2 float64
	TempC            float64 // gas temperature, sets the speed of sound
	Packed           bool    // lined with wool: a silencer that swallows the highs
}

// soundSpeed returns c = 331.3·√(1 + T/273.15) m/s of air at T °C.
func soundSpeed(tempC float64) float64 { return 331.3 * math.Sqrt(1+tempC/273.15) }

// Validate returns nil for a Spec that can sound.
func (s Spec) Validate() error {
	if err := s.Layout.Validate(); err != nil {
		return err
	}
	if !(s.IdleRPM >= 100 && s.RedlineRPM > s.IdleRPM && s.RedlineRPM <= 30000) {
		return fmt.Errorf("idle %g and redline %g RPM are not 100 <= idle < redline <= 30000", s.IdleRPM, s.RedlineRPM)
	}
	if len(s.Pipe) == 0 {
		return fmt.Errorf("the exhaust has no pipe")
	}
	for i, p := range s.Pipe {
		if !(p.LengthM >= 0.02 && p.LengthM <= 10 && p.AreaCM2 > 0 && p.AreaCM2 < 1e4 && p.TempC >= -40 && p.TempC <= 1200) {
			return fmt.Errorf("pipe segment %d: %g m of %g cm² at %g °C is not a pipe", i, p.LengthM, p.AreaCM2, p.TempC)
		}
	}
	if s.RunnerM != nil && len(s.RunnerM) != s.Layout.Cylinders {
		return fmt.Errorf("%d runners for %d cylinders", len(s.RunnerM), s.Layout.Cylinders)
	}
	if !(s.IntakeM >= 0.02 && s.IntakeM <= 5) || !(s.BlowdownS >= 1e-4 && s.BlowdownS <= 0.01) {
		return fmt.Errorf("intake of %g m or blowdown of %g s is out of range", s.IntakeM, s.BlowdownS)
	}
	for _, r := range s.RunnerM {
		if !(r >= 0 && r <= 3) {
			return fmt.Errorf("a runner of %g m is outside 0..3 m", r)
		}
	}
	for _, c := range []struct {
		name   string
		is, to float64
	}{
		{"COVIdle", s.COVIdle, 1}, {"COVLoad", s.COVLoad, 1}, {"COVOverrun", s.COVOverrun, 1},
		{"RevsDB", s.RevsDB, 30}, {"CylinderSpread", s.CylinderSpread, 0.5},
		{"FlowNoise", s.FlowNoise, 100}, {"IntakeNoise", s.IntakeNoise, 100}, {"Clatter", s.Clatter, 100},
		{"WhineOrder", s.WhineOrder, 500}, {"Whine", s.Whine, 100},
	} {
		if !(c.is >= 0 && c.is <= c.to) {
			return fmt.Errorf("%s of %g is outside 0..%g", c.name, c.is, c.to)
		}
	}
	return nil
}

// SnowSled is a two-stroke twin, 0/180, with an expansion chamber and a
// small silencer, 1600 to 8200 RPM.
func SnowSled() Spec {
	return Spec{
		Layout:  crank.Layout{Cylinders: 2, Strokes: 2, Firing: []float64{0, 180}},
		IdleRPM: 1600, RedlineRPM: 8200,
		Pipe: []Segment{
			{0.28, 13, 450, false}, {0.16, 26, 430, false}, {0.14, 55, 410, false}, {0.20, 90, 390, false},
			{0.14, 38, 370, false}, {0.20, 7, 330, false}, {0.24, 60, 250, true}, {0.10, 9, 200, false},
		},
		RunnerM: []float64{0, 0.035},
		IntakeM: 0.24, BlowdownS: 0.00042,
		RevsDB: 9, COVIdle: 0.115, COVLoad: 0.045, COVOverrun: 0.35, CylinderSpread: 0.10,
		FlowNoise: 1, IntakeNoise: 1.2, Clatter: 0.8, WhineOrder: 13, Whine: 1,
	}
}

// roadPipe is a header, a pre-silencer, a middle pipe, a silencer and a tail.
func roadPipe(headerM, widthCM2 float64) []Segment {
	return []Segment{
		{headerM, widthCM2, 550, false}, {0.17, 3 * widthCM2, 430, false}, {0.47, 1.1 * widthCM2, 350, false},
		{0.34, 5 * widthCM2, 260, true}, {0.11, widthCM2, 220, false},
	}
}

// EvenTwin is a four-stroke parallel twin with both pistons together, so an
// even 360-360.
func EvenTwin() Spec {
	return Spec{
		Layout:  crank.Layout{Cylinders: 2, Strokes: 4, Firing: []float64{0, 360}},
		IdleRPM: 1200, RedlineRPM: 8000, Pipe: roadPipe(0.62, 12), RunnerM: []float64{0, 0.03},
		IntakeM: 0.30, BlowdownS: 0.0008,
		RevsDB: 3, COVIdle: 0.11, COVLoad: 0.038, COVOverrun: 0.28, CylinderSpread: 0.08,
		FlowNoise: 1.9, IntakeNoise: 1, Clatter: 1, WhineOrder: 27, Whine: 0.6,
	}
}

// VTwin is a four-stroke 45 degree V-twin on one crank pin: 315-405.
func VTwin() Spec {
	return Spec{
		Layout:  crank.Layout{Cylinders: 2, Strokes: 4, Firing: []float64{0, 315}},
		IdleRPM: 950, RedlineRPM: 5600, Pipe: roadPipe(0.75, 15), RunnerM: []float64{0, 0.10},
		IntakeM: 0.34, BlowdownS: 0.0012,
		RevsDB: 3, COVIdle: 0.13, COVLoad: 0.042, COVOverrun: 0.3, CylinderSpread: 0.10,
		FlowNoise: 1.9, IntakeNoise: 0.9, Clatter: 1.2,
	}
}

// Triple is a four-stroke inline three, 240 apart.
func Triple() Spec {
	return Spec{
		Layout:  crank.Layout{Cylinders: 3, Strokes: 4},
		IdleRPM: 1100, RedlineRPM: 9500, Pipe: roadPipe(0.55, 13), RunnerM: []float64{0.02, 0, 0.03},
		IntakeM: 0.26, BlowdownS: 0.0007,
		RevsDB: 3, COVIdle: 0.10, COVLoad: 0.038, COVOverrun: 0.28, CylinderSpread: 0.08,
		FlowNoise: 1.9, IntakeNoise: 1.1, Clatter: 0.9, WhineOrder: 31, Whine: 0.8,
	}
}

// Four is a four-stroke inline four with a flat crank, 180 apart.
func Four() Spec {
	return Spec{
		Layout:  crank.Layout{Cylinders: 4, Strokes: 4},
		IdleRPM: 900, RedlineRPM: 7000, Pipe: roadPipe(0.50, 18), RunnerM: []float64{0.04, 0, 0.01, 0.05},
		IntakeM: 0.36, BlowdownS: 0.0008,
		RevsDB: 3, COVIdle: 0.10, COVLoad: 0.036, COVOverrun: 0.25, CylinderSpread: 0.08,
		FlowNoise: 1.9, IntakeNoise: 0.8, Clatter: 0.8, WhineOrder: 19, Whine: 0.5,
	}
}

// Single is a four-stroke single.
func Single() Spec {
	return Spec{
		Layout:  crank.Layout{Cylinders: 1, Strokes: 4},
		IdleRPM: 1500, RedlineRPM: 8500, Pipe: roadPipe(0.70, 11),
		IntakeM: 0.28, BlowdownS: 0.0009,
		RevsDB: 3, COVIdle: 0.12, COVLoad: 0.042, COVOverrun: 0.3,
		FlowNoise: 2.3, IntakeNoise: 1, Clatter: 1.1,
	}
}
