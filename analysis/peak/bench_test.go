package peak

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
)

// limited is like loud modern music: shaped noise driven into a hard limit.
func limited(seed uint64, n int) []float64 {
	r := rand.New(rand.NewPCG(seed, 3))
	x := make([]float64, n)
	low := 0.0
	for i := range x {
		low = 0.9*low + 0.1*r.NormFloat64()
		x[i] = max(-0.98, min(0.98, 2.2*low+0.05*r.NormFloat64()))
	}
	return x
}

func sine(n int, amplitude, cyclesPerSample, phaseDeg float64) []float64 {
	x := make([]float64, n)
	for i := range x {
		x[i] = amplitude * math.Sin(2*math.Pi*cyclesPerSample*float64(i)+phaseDeg*math.Pi/180)
	}
	return x
}

func BenchmarkMeterStereo48k(b *testing.B) {
	rising := sine(48000*4, 1, 997.0/48000, 0)
	for i := range rising {
		rising[i] *= 0.1 + 0.9*float64(i)/float64(len(rising))
	}
	quiet := limited(5, 48000*4)
	for i := range quiet {
		quiet[i] *= 0.1
	}
	quiet[100] = 1
	for _, c := range []struct {
		name string
		x    []float64
	}{
		{"quiet after a peak", quiet}, {"limited", limited(5, 48000*4)}, {"full-scale sine", sine(48000*4, 1, 997.0/48000, 0)}, {"rising sine", rising},
	} {
		for _, all := range []bool{false, true} {
			b.Run(fmt.Sprintf("%s/unpruned=%v", c.name, all), func(b *testing.B) {
				b.ReportAllocs()
				for b.Loop() {
					m, _ := New(48000, 2)
					m.chans[0].all, m.chans[1].all = all, all
					for at := 0; at < len(c.x); at += 4000 {
						m.Write([][]float64{c.x[at : at+4000], c.x[at : at+4000]})
					}
				}
				b.ReportMetric(float64(b.N)*4/b.Elapsed().Seconds(), "x-realtime")
			})
		}
	}
}

func BenchmarkScan(b *testing.B) {
	x := limited(1, chunk)
	var tops [chunk / stride]float64
	for b.Loop() {
		scan(x, tops[:])
	}
	b.ReportMetric(b.Elapsed().Seconds()/float64(b.N)/chunk*1e9, "ns/sample")
}
