package fidelity

// burg fits an all-pole predictor to x by Burg's method and leaves its
// forward prediction error in f and the backward one in b (both as long as
// x). The first order values of f are not errors of the full predictor.
// Formula: J. P. Burg, Maximum Entropy Spectral Analysis, 1975: each
// reflection coefficient is -2·Σ f·b' / Σ(f²+b'²), b' being b one sample
// late. The forward error of the last stage is the residual itself, so the
// coefficients are never formed.
func burg(x, f, b []float64, order int) {
	copy(f, x)
	copy(b, x)
	n := len(x)
	for m := 1; m <= order && m < n; m++ {
		var num, den float64
		fm, bm := f[m:n], b[m-1:n-1]
		for i, v := range fm {
			w := bm[i]
			num += v * w
			den += v*v + w*w
		}
		if den <= 0 {
			return
		}
		k := -2 * num / den
		// From the end, because b[i] takes the place b[i-1] is read from.
		for i := n - 1; i >= m; i-- {
			fi, bi := f[i], b[i-1]
			f[i] = fi + k*bi
			b[i] = bi + k*fi
		}
	}
}
