package resample

// dot returns Σ a[i]·b[i] over len(a), a multiple of 8; b is at least as long.
//
// Four sums in flight hide the latency of the adder: the plain loop takes several
// times as long (BenchmarkDot). The order of the additions depends
// on len(a) only, so a result never depends on where in a block its input lay.
func dot(a, b []float64) float64 {
	var s0, s1, s2, s3 float64
	for len(a) >= 8 && len(b) >= 8 {
		s0 += a[0] * b[0]
		s1 += a[1] * b[1]
		s2 += a[2] * b[2]
		s3 += a[3] * b[3]
		s0 += a[4] * b[4]
		s1 += a[5] * b[5]
		s2 += a[6] * b[6]
		s3 += a[7] * b[7]
		a, b = a[8:], b[8:]
	}
	return (s0 + s1) + (s2 + s3)
}
