package note

import "math"

// joinGains returns the gains of the outgoing and the incoming grain at
// progress x (0..1) through an overlap whose parts have correlation rho. The
// weights are a raised cosine; the common divisor keeps the power, see the
// package comment. rho is held to 0..1.
func joinGains(x, rho float64) (out, in float64) {
	b := 0.5 - 0.5*math.Cos(math.Pi*x)
	return mixGains(b, rho)
}

// mixGains returns gains for weights 1-b and b that keep the power of two
// parts of equal power and correlation rho.
func mixGains(b, rho float64) (first, second float64) {
	a := 1 - b
	n := 1 / math.Sqrt(a*a+b*b+2*rho*a*b)
	return a * n, b * n
}
