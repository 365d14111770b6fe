package revs

import "math"

// governor holds idle: a PI loop on the crank speed with the friction at
// that speed fed forward. It only ever adds torque; above idle it lets go, which
// is the fuel cut of the overrun.
type governor struct {
	kp, ki   float64 // N·m per rad/s, N·m per rad
	maxNM    float64
	integral float64 // N·m
}

// governorDamping is the damping ratio of the closed loop. A little under 1
// gives the small dip under idle that real engines show.
const governorDamping = 0.8

// newGovernor places the loop so that a small upset is back within 2 % of
// itself after settleS: with damping 0.8 and the kick that the proportional
// part gives at the start, the error stays within 2 % from ωn·t = 5.2 on.
func newGovernor(p *Physics, idleW, settleS float64) governor {
	wn := 5.2 / settleS
	return governor{
		kp:    2 * governorDamping * wn * p.InertiaKGM2,
		ki:    wn * wn * p.InertiaKGM2,
		maxNM: max(0.35*p.FullTorqueNM, 3*p.friction(idleW)),
	}
}

// step returns the governor's torque for one grid step. target and slope are
// the wanted speed and its rate of change; shut says that the lever is.
func (g *governor) step(p *Physics, w, target, slope float64, shut bool) float64 {
	e := target - w
	raw := p.friction(w) + p.InertiaKGM2*slope + g.kp*e + g.integral
	out := min(max(raw, 0), g.maxNM)
	if shut && raw == out {
		g.integral += g.ki * e * gridS
	} else {
		// Saturated, or somebody is on the lever: forget slowly, so that
		// nothing is wound up when the governor is needed again.
		g.integral *= governorLeak
	}
	return out
}

var governorLeak = math.Exp(-gridS / 0.3)
