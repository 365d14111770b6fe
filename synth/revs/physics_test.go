package revs

import (
	"math"
	"testing"
)

// bare returns a model without lag, governor, hunting and limiter: the bare
// differential equation.
func bare(p Physics, idle, red float64) *Model {
	m := newModel(tuning{physics: p, idleW: radS(idle), redW: radS(red), settleS: 1, limiterDropW: 10, limiterRate: 10}, 1)
	m.governed = false
	m.lim.cutW = math.Inf(1)
	return m
}

// crossing returns the time at which the model passes rpm, lever held.
func crossing(m *Model, lever, rpm float64) float64 {
	prev, _ := m.Step(0, lever)
	for n := 1; n < 200_000; n++ {
		now, _ := m.Step(0.0005, lever)
		if (prev < rpm) != (now < rpm) {
			return 0.0005 * (float64(n-1) + (rpm-prev)/(now-prev))
		}
		prev = now
	}
	return math.Inf(1)
}

func within(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s: got %g, want %g ± %g", what, got, want, tol)
	}
}

// TestConstantTorque: J·Δω/T, row 33 of the engine reference: 0.746 s.
func TestConstantTorque(t *testing.T) {
	m := bare(Physics{InertiaKGM2: 0.15, FullTorqueNM: 120}, 800, 6500)
	within(t, "0.15 kg·m², 120 N·m, 800 to 6500 RPM", crossing(m, 1, 6500), 0.746, 0.001)
}

// TestHeywoodFriction: row 34 of the engine reference, and the sum behind it.
func TestHeywoodFriction(t *testing.T) {
	p := Physics{FrictionNM: HeywoodFriction(2.0, 4)}
	got := p.friction(radS(3000))
	within(t, "2.0 L at 3000 RPM, N·m", got, 29.76, 0.01)
	within(t, "FMEP, bar", got*2*math.Pi*2/(2.0e-3*1e5), 1.87, 1e-9)
	half := FrictionTorque([3]float64{1, 0, 0}, 1, 2)
	within(t, "1 bar, 1 L, two-stroke: V·p/2π", half[0], 15.9155, 1e-4)
}

// TestLinearFriction: with friction k·ω alone the revs decay as
// ω0·exp(−k·t/J).
func TestLinearFriction(t *testing.T) {
	const j, k = 0.1, 0.05 // N·m per rad/s
	perKRPM := k * radS(1000)
	m := bare(Physics{InertiaKGM2: j, FullTorqueNM: 1, FrictionNM: [3]float64{0, perKRPM, 0}}, 6000, 9000)
	for n := 1; n <= 40; n++ {
		got, _ := m.Step(0.1, 0)
		want := 6000 * math.Exp(-k*float64(n)*0.1/j)
		within(t, "decay", got, want, 0.005*want)
	}
}

// TestReferenceTable is section 5 of the engine reference: constant full
// torque less Heywood's friction. The table has two significant figures, so
// its rounding is allowed on top of 0.5 %; the integral it stands for is
// checked to 0.5 % beside it.
func TestReferenceTable(t *testing.T) {
	for _, c := range []struct {
		name                             string
		litres, inertia, torque          float64
		from, to, up, upRound            float64
		downFrom, downTo, down, downSlop float64
	}{
		{"600 cc four", 0.6, 0.010, 62, 1300, 12500, 0.36, 0.005, 12500, 1400, 0.71, 0.005},
		{"1.0 L twin", 1.0, 0.030, 95, 1200, 8500, 0.34, 0.005, 8500, 1300, 1.11, 0.005},
		{"1.2 L vee", 1.2, 0.12, 100, 950, 5500, 0.72, 0.005, 5500, 1000, 3.1, 0.05},
		{"2.0 L car", 2.0, 0.15, 190, 800, 6500, 0.59, 0.005, 6500, 900, 2.7, 0.05},
		{"5.0 L eight", 5.0, 0.30, 450, 700, 6500, 0.51, 0.005, 6500, 800, 2.2, 0.05},
		{"2.0 L diesel", 2.0, 0.25, 300, 800, 4600, 0.37, 0.005, 4600, 900, 3.6, 0.05},
		{"12 L diesel", 12, 3.0, 1800, 600, 2100, 0.28, 0.005, 2100, 650, 3.8, 0.05},
	} {
		p := Physics{InertiaKGM2: c.inertia, FullTorqueNM: c.torque, FrictionNM: HeywoodFriction(c.litres, 4)}
		up := crossing(bare(p, c.from, c.to), 1, c.to)
		down := crossing(bare(p, c.downFrom, 2*c.downFrom), 0, c.downTo)
		within(t, c.name+" up, table", up, c.up, c.upRound+0.005*c.up)
		within(t, c.name+" down, table", down, c.down, c.downSlop+0.005*c.down)
		within(t, c.name+" up, integral", up, travel(p, c.torque, c.from, c.to), 0.005*up)
		within(t, c.name+" down, integral", down, travel(p, 0, c.downFrom, c.downTo), 0.005*down)
	}
	// The kart's 15 N·m are net.
	kart := bare(Physics{InertiaKGM2: 0.004, FullTorqueNM: 15}, 3000, 14000)
	within(t, "125 kart", crossing(kart, 1, 14000), 0.31, 0.005+0.0016)
}

// travel integrates J·dω/(T − T_f) with Simpson's rule, written from the
// formula and apart from the model.
func travel(p Physics, torque, from, to float64) float64 {
	const n = 2000
	f := func(rpm float64) float64 {
		k := rpm / 1000
		return p.InertiaKGM2 * math.Pi / 30 / (torque - (p.FrictionNM[0] + p.FrictionNM[1]*k + p.FrictionNM[2]*k*k))
	}
	h := (to - from) / n
	sum := f(from) + f(to)
	for i := 1; i < n; i++ {
		sum += float64(2+2*(i%2)) * f(from+float64(i)*h)
	}
	return sum * h / 3
}

func TestFillingEnds(t *testing.T) {
	for _, n := range []float64{0.05, 0.5, 1} {
		if filling(0, n) != 0 || filling(1, n) != 1 {
			t.Errorf("at %g of the redline: shut %g, full %g, want 0 and 1", n, filling(0, n), filling(1, n))
		}
	}
}
