package fidelity

import (
	"math"

	"gonum.org/v1/gonum/dsp/fourier"
)

// STFTResult is a multi-resolution spectral distance.
type STFTResult struct {
	SizesFFT    []int
	Convergence []float64 // ‖S−R‖/‖S‖ of the magnitudes, one per size
	LogDB       []float64 // mean |20·log10 R/S| over bins, one per size
}

// stftLeast keeps the logarithm of empty bins finite: -100 dB re the
// source's mean power in a bin.
const stftLeast = 1e-10

// STFT compares magnitudes of short-time spectra frame by frame at sizes
// 8192, 2048, 1024 and 512 (Hann, half hop) after matching the RMS
// levels: spectral convergence and mean absolute log magnitude. Two
// recordings of one engine differ much in it, since noise never lines up;
// it is for the report only. NaN where the shorter take has no frame. The
// takes must have the same sample rate, else all is NaN. Engine reference
// section 4, row v-b.
func STFT(render, source *Take) STFTResult {
	r := STFTResult{SizesFFT: []int{8192, 2048, 1024, 512}}
	n := min(len(render.X), len(source.X))
	ref := meanSquare(source.X[:n])
	gain := math.Sqrt(ref / meanSquare(render.X[:n]))
	for _, size := range r.SizesFFT {
		c, l := math.NaN(), math.NaN()
		if n >= size && ref > 0 && !math.IsInf(gain, 0) && render.RateHz == source.RateHz {
			c, l = stftDistance(render.X[:n], source.X[:n], gain, size)
		}
		r.Convergence, r.LogDB = append(r.Convergence, c), append(r.LogDB, l)
	}
	return r
}

func stftDistance(a, b []float64, gain float64, size int) (convergence, logDB float64) {
	fft := fourier.NewFFT(size)
	win := hann(size)
	buf := make([]float64, size)
	ca, cb := make([]complex128, size/2+1), make([]complex128, size/2+1)
	var sw float64
	for _, w := range win {
		sw += w * w
	}
	least := stftLeast * meanSquare(b) * sw
	var diff, all, logs float64
	n := 0
	for at := 0; at+size <= len(a); at += size / 2 {
		for i, w := range win {
			buf[i] = a[at+i] * w * gain
		}
		fft.Coefficients(ca, buf)
		for i, w := range win {
			buf[i] = b[at+i] * w
		}
		fft.Coefficients(cb, buf)
		for i := range ca {
			pa := real(ca[i])*real(ca[i]) + imag(ca[i])*imag(ca[i])
			pb := real(cb[i])*real(cb[i]) + imag(cb[i])*imag(cb[i])
			d := math.Sqrt(pa) - math.Sqrt(pb)
			diff += d * d
			all += pb
			logs += math.Abs(math.Log((pa + least) / (pb + least)))
			n++
		}
	}
	return math.Sqrt(diff / all), logs / float64(n) * 10 / math.Ln10
}
