package revs

import (
	"fmt"
	"math"
)

// Spec describes the engine whose revs are wanted. Pointers that are nil
// leave the preset's value. Errors of New name the sheet keys.
type Spec struct {
	Preset     string  // one of Presets; "" = DefaultPreset
	IdleRPM    float64 // 100..10000
	RedlineRPM float64 // where the limiter cuts; 1.3·idle..30000

	// RiseS is the time from steady idle to the redline at full lever,
	// 0.05..60 s, FallS the time from the redline, lever shut, until 95 % of
	// the way down to idle is done, 0.1..120 s; both without a driven load
	// and with the lag included. Torque and friction are solved for them. A
	// time that is left out keeps what the preset's constants give.
	RiseS, FallS *float64

	LagS           *float64 // throttle lag (63 %), 0..1 s
	IdleWanderRPM  *float64 // SD of the hunting at idle, 0..10 % of idle
	IdleSettleS    *float64 // from a small upset back to within 2 % of it, 0.2..10 s
	LimiterDropRPM *float64 // how far the limiter lets revs fall, 10 RPM..20 % of redline
	LimiterHz      *float64 // how often it cuts at full lever, 5..20 Hz
}

// tuning is a Spec with every value filled in.
type tuning struct {
	physics                   Physics
	idleW, redW               float64 // rad/s
	lagS                      float64
	wanderW                   float64 // SD, rad/s
	settleS                   float64
	limiterDropW, limiterRate float64 // rad/s, Hz
}

func (s Spec) tuning() (tuning, error) {
	p, err := findPreset(s.Preset)
	if err != nil {
		return tuning{}, err
	}
	idle, red := s.IdleRPM, s.RedlineRPM
	if !(idle >= 100 && idle <= 10000) {
		return tuning{}, fmt.Errorf("idle_rpm: %g is outside 100..10000", idle)
	}
	if !(red >= 1.3*idle && red <= 30000) {
		return tuning{}, fmt.Errorf("redline_rpm: %g is outside %g (1.3 x idle_rpm)..30000", red, 1.3*idle)
	}
	t := tuning{physics: p.physics, idleW: radS(idle), redW: radS(red)}
	var wander, drop float64
	for _, v := range []struct {
		key    string
		given  *float64
		preset float64
		lo, hi float64
		to     *float64
	}{
		{"lag_s", s.LagS, p.lagS, 0, 1, &t.lagS},
		{"idle_wander_rpm", s.IdleWanderRPM, p.idleWander * idle, 0, 0.1 * idle, &wander},
		{"idle_settle_s", s.IdleSettleS, p.idleSettleS, 0.2, 10, &t.settleS},
		{"limiter_drop_rpm", s.LimiterDropRPM, min(p.limiterDropRPM, 0.1*red), 10, 0.2 * red, &drop},
		{"limiter_hz", s.LimiterHz, p.limiterHz, 5, 20, &t.limiterRate},
		{"rise_s", s.RiseS, 1, 0.05, 60, new(float64)},
		{"fall_s", s.FallS, 1, 0.1, 120, new(float64)},
	} {
		*v.to = v.preset
		if v.given != nil {
			*v.to = *v.given
			if math.IsNaN(*v.given) || *v.given < v.lo || *v.given > v.hi {
				return tuning{}, fmt.Errorf("%s: %g is outside %g..%g", v.key, *v.given, v.lo, v.hi)
			}
		}
	}
	t.wanderW, t.limiterDropW = radS(wander), radS(drop)
	return t, nil
}
