package fidelity

import "math"

const halfRangeDB = 40 // orders this far under the dominant one are left out

// HalfOrder is one order between the firings.
type HalfOrder struct {
	Order            float64
	RenderDB, Source float64 // level re the dominant order of the same take
}

// HalfOrderResult compares the orders between the firings.
type HalfOrderResult struct {
	DominantOrder float64 // of the source
	Orders        []HalfOrder
	WorstDB       float64 // largest |render − source|
	TotalDB       float64 // all of them together, render − source
}

// HalfOrders compares the level of the orders between the firing orders,
// relative to the source's strongest order, render − source in dB. For a
// four-stroke these are the half orders (odd cycle harmonics); for a
// two-stroke, which has no half orders, the cycle harmonics that are no
// multiple of the cylinders. Both tell of differences between cylinders, the
// burble. Harmonics up to the fourth firing multiple are taken, those more
// than 40 dB under the dominant left out. NaN where the layout has none
// (two-stroke single) or a take is shorter than 16 cycles. Engine reference
// section 4, row vi.
func HalfOrders(render, source *Take) HalfOrderResult {
	r := HalfOrderResult{DominantOrder: math.NaN(), WorstDB: math.NaN(), TotalDB: math.NaN()}
	if !render.usable(16) || !source.usable(16) {
		return r
	}
	l := source.Layout
	var ks []int
	for k := 1; k <= 4*max(l.Cylinders, 2); k++ {
		ks = append(ks, k)
	}
	a, b := linePowers(render, ks), linePowers(source, ks)
	top := 0
	for i, p := range b {
		if p > b[top] {
			top = i
		}
	}
	if !(b[top] > 0) || !(a[top] > 0) {
		return r
	}
	r.DominantOrder = float64(ks[top]) / l.RevsPerCycle()
	var sa, sb float64
	for i, k := range ks {
		between := k%l.Cylinders != 0
		if l.Strokes == 4 {
			between = k%2 == 1
		}
		h := HalfOrder{Order: float64(k) / l.RevsPerCycle(),
			RenderDB: 10 * math.Log10(a[i]/a[top]), Source: 10 * math.Log10(b[i]/b[top])}
		if !between || i == top || h.Source < -halfRangeDB {
			continue
		}
		r.Orders = append(r.Orders, h)
		sa, sb = sa+a[i]/a[top], sb+b[i]/b[top]
		if d := math.Abs(h.RenderDB - h.Source); !(d <= r.WorstDB) {
			r.WorstDB = d
		}
	}
	if len(r.Orders) > 0 {
		r.TotalDB = 10 * math.Log10(sa/sb)
	}
	return r
}

// linePowers returns the mean power of demodulated harmonics.
func linePowers(t *Take, ks []int) []float64 {
	l := demodulate(t, ks)
	out := make([]float64, len(ks))
	for i, z := range l.z {
		for _, v := range z {
			out[i] += (real(v)*real(v) + imag(v)*imag(v)) / float64(len(z))
		}
	}
	return out
}
