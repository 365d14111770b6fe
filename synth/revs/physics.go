package revs

import "math"

// Physics are the constants of one engine, free-revving.
type Physics struct {
	InertiaKGM2  float64    // crank, flywheel and what always turns with them; > 0
	FullTorqueNM float64    // torque of combustion at full lever, the same at all revs; > 0
	FrictionNM   [3]float64 // friction torque: constant, per 1000 RPM, per (1000 RPM)²
	LoadNM       float64    // constant outside torque (pump, belt), >= 0
}

// fmepBar are the coefficients of the motored friction mean effective
// pressure of car spark-ignition engines, bar over N/1000: Heywood, Internal
// Combustion Engine Fundamentals, 1988, eq. 13.6 (0.97 + 0.15 n + 0.05 n²).
var fmepBar = [3]float64{0.97, 0.15, 0.05}

// FrictionTorque turns a friction mean effective pressure (bar: constant,
// per 1000 RPM, per (1000 RPM)²) into torque, T = FMEP·V/(2π·n_R) with n_R
// the revolutions per cycle: 2 for a four-stroke, 1 for a two-stroke.
func FrictionTorque(bar [3]float64, litres float64, strokes int) [3]float64 {
	perBar := 1e5 * litres * 1e-3 / (2 * math.Pi * float64(strokes) / 2)
	return [3]float64{bar[0] * perBar, bar[1] * perBar, bar[2] * perBar}
}

// HeywoodFriction is FrictionTorque with Heywood's eq. 13.6.
func HeywoodFriction(litres float64, strokes int) [3]float64 {
	return FrictionTorque(fmepBar, litres, strokes)
}

// radS converts RPM to rad/s.
func radS(rpm float64) float64 { return rpm * math.Pi / 30 }

// toRPM converts rad/s to RPM.
func toRPM(w float64) float64 { return w * 30 / math.Pi }

// friction returns the torque that slows the crank at w rad/s.
func (p *Physics) friction(w float64) float64 {
	k := toRPM(w) / 1000
	return p.FrictionNM[0] + k*(p.FrictionNM[1]+k*p.FrictionNM[2]) + p.LoadNM
}

// advance returns w after dt seconds of constant torque (Heun's rule).
func (p *Physics) advance(w, torque, dt float64) float64 {
	a := (torque - p.friction(w)) / p.InertiaKGM2
	b := (torque - p.friction(w+a*dt)) / p.InertiaKGM2
	return max(0, w+0.5*dt*(a+b))
}

// throttleChoke says how much a part-open throttle strangles the engine as
// revs rise. 4 puts half lever near three quarters of the redline on a
// two-litre car engine (common practice, no source).
const throttleChoke = 4

// filling returns the share of full torque at lever u and revs n (as a
// fraction of the redline). A throttle passes a bounded flow, so at part
// lever the charge thins as revs rise, and half lever holds revs somewhere
// in the middle instead of running up to the limiter. 0 gives 0, 1 gives 1.
func filling(u, n float64) float64 {
	if u <= 0 {
		return 0
	}
	return u / (u + (1-u)*throttleChoke*n)
}
