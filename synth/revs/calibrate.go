package revs

import (
	"fmt"
	"math"
)

// fallFloor is the share of the way from idle to redline at which a fall
// counts as done. The last stretch is the governor's soft landing.
const fallFloor = 0.05

// calibrate solves full torque and friction for rise_s and fall_s.
func calibrate(t *tuning, spec Spec) error {
	t0 := *t
	if spec.RiseS == nil && spec.FallS == nil {
		if t.physics.FullTorqueNM <= 1.02*t.physics.friction(t.redW) {
			return fmt.Errorf("redline_rpm: this preset has not the torque to reach %g RPM; set rise_s, or take another preset", spec.RedlineRPM)
		}
		return nil
	}
	rise := value(spec.RiseS, func() float64 { return measureRise(t0, 1000) })
	if math.IsInf(rise, 1) {
		return fmt.Errorf("redline_rpm: this preset has not the torque to reach %g RPM; set rise_s, or take another preset", spec.RedlineRPM)
	}
	fall := value(spec.FallS, func() float64 { return measureFall(t0, rise, 1000) })
	if math.IsInf(fall, 1) {
		return fmt.Errorf("redline_rpm: this preset does not come down from %g RPM; set fall_s, or take another preset", spec.RedlineRPM)
	}
	// Torque hardly matters to the fall, friction does to the rise: a few
	// rounds settle both.
	for range 8 {
		base := t0.physics.FrictionNM
		scale := func(logS float64) tuning {
			u := *t
			for i, c := range base {
				u.physics.FrictionNM[i] = c * math.Exp(logS)
			}
			return u
		}
		logS := solveDown(-9, 9, fall, func(x float64) float64 { return measureFall(scale(x), rise, 3*fall+1) })
		*t = scale(logS)
		need := t.physics.friction(t.redW)
		torque := func(logT float64) tuning {
			u := *t
			u.physics.FullTorqueNM = need * (1 + math.Exp(logT))
			return u
		}
		logT := solveDown(-12, 12, rise, func(x float64) float64 { return measureRise(torque(x), 3*rise+1) })
		*t = torque(logT)
		if near(measureFall(*t, rise, 3*fall+1), fall) && near(measureRise(*t, 3*rise+1), rise) {
			return nil
		}
	}
	if got := measureFall(*t, rise, 3*fall+1); !near(got, fall) {
		return fmt.Errorf("fall_s: %g s cannot be had with rise_s %.3g and lag_s %g (about %.2g s can); lower lag_s or raise fall_s", fall, rise, t.lagS, got)
	}
	return fmt.Errorf("rise_s: %g s cannot be had with fall_s %.3g and lag_s %g (about %.2g s can); lower lag_s or raise rise_s", rise, fall, t.lagS, measureRise(*t, 3*rise+1))
}

func value(given *float64, natural func() float64) float64 {
	if given != nil {
		return *given
	}
	return natural()
}

func near(got, want float64) bool { return math.Abs(got-want) <= 0.002*want }

// solveDown finds x in lo..hi where the falling function f meets want, by
// bisection; the nearer end if it does not.
func solveDown(lo, hi, want float64, f func(float64) float64) float64 {
	for range 20 {
		mid := 0.5 * (lo + hi)
		if f(mid) > want {
			lo = mid
		} else {
			hi = mid
		}
	}
	return 0.5 * (lo + hi)
}

// measureRise simulates idle to redline at full lever without hunting and
// returns the time, +Inf if limitS was not enough.
func measureRise(t tuning, limitS float64) float64 {
	t.wanderW = 0
	m := newModel(t, 0)
	m.lever = 1
	return m.until(limitS, func(w float64) bool { return w >= t.redW })
}

// measureFall simulates the release of a full lever at the moment the
// redline is reached, pressS after it was pressed, until fallFloor.
func measureFall(t tuning, pressS, limitS float64) float64 {
	t.wanderW = 0
	m := newModel(t, 0)
	m.throttle = 1 - math.Pow(1-m.lagGain, pressS/gridS)
	m.cur.w = t.redW
	floor := t.idleW + fallFloor*(t.redW-t.idleW)
	return m.until(limitS, func(w float64) bool { return w <= floor })
}

// until advances along the grid and returns the time at which done was
// first true.
func (m *Model) until(limitS float64, done func(w float64) bool) float64 {
	for n := 0; float64(n)*gridS < limitS; n++ {
		if done(m.cur.w) {
			return float64(n) * gridS
		}
		m.advance()
	}
	return math.Inf(1)
}
