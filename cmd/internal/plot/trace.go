package plot

import (
	"math"
	"strings"
)

// trace returns the SVG path of a line through (x, y) in picture units. A
// point that is not finite breaks the line. Where many points share a column
// of one unit, their first, lowest, highest and last stay, so that no spike
// is lost.
func trace(x, y []float64) string {
	var b strings.Builder
	for i := 0; i < len(x); {
		if !finite(x[i], y[i]) {
			i++
			continue
		}
		end := i
		for end < len(x) && finite(x[end], y[end]) {
			end++
		}
		stretch(&b, x[i:end], y[i:end])
		i = end
	}
	return b.String()
}

func finite(x, y float64) bool {
	return !math.IsNaN(x-x) && !math.IsNaN(y-y)
}

// stretch writes one unbroken piece.
func stretch(b *strings.Builder, x, y []float64) {
	if len(x) == 1 {
		b.WriteString("M" + num(x[0]) + " " + num(y[0]) + "h0.1") // a round dot
		return
	}
	word := "M"
	for _, i := range straighten(x, y, thin(x, y)) {
		b.WriteString(word + num(x[i]) + " " + num(y[i]))
		word = "L"
	}
}

// thin picks the first, lowest, highest and last point of each column of one
// unit.
func thin(x, y []float64) []int {
	var keep []int
	for i := 0; i < len(x); {
		end, lo, hi := i, i, i
		for end < len(x) && math.Floor(x[end]) == math.Floor(x[i]) {
			if y[end] < y[lo] {
				lo = end
			}
			if y[end] > y[hi] {
				hi = end
			}
			end++
		}
		for _, k := range []int{i, min(lo, hi), max(lo, hi), end - 1} {
			if len(keep) == 0 || keep[len(keep)-1] != k {
				keep = append(keep, k)
			}
		}
		i = end
	}
	return keep
}

// straighten drops the points that lie within a tenth of a unit of the
// straight line between the ones that stay (the corridor of slopes method:
// a point ends a segment when no single slope reaches all points since).
func straighten(x, y []float64, idx []int) []int {
	const tol = 0.1
	out := idx[:1:1]
	low, high := math.Inf(-1), math.Inf(1)
	for n := 1; n < len(idx); n++ {
		from, at := out[len(out)-1], idx[n]
		dx := x[at] - x[from]
		slope := (y[at] - y[from]) / dx
		if dx <= 0 || slope < low || slope > high {
			if prev := idx[n-1]; prev != from {
				out = append(out, prev)
				low, high = math.Inf(-1), math.Inf(1)
				n--
				continue
			}
			out = append(out, at)
			low, high = math.Inf(-1), math.Inf(1)
			continue
		}
		low, high = math.Max(low, slope-tol/dx), math.Min(high, slope+tol/dx)
	}
	if last := idx[len(idx)-1]; out[len(out)-1] != last {
		out = append(out, last)
	}
	return out
}

// clip limits a line to from..to in y: points outside become breaks, and the
// crossing point is put in so that the line reaches the edge.
func clip(x, y []float64, from, to float64) (cx, cy []float64) {
	add := func(px, py float64) { cx, cy = append(cx, px), append(cy, py) }
	inside := func(v float64) bool { return v >= from && v <= to }
	for i := range x {
		if i > 0 && finite(x[i], y[i]) && finite(x[i-1], y[i-1]) && inside(y[i]) != inside(y[i-1]) {
			out := y[i]
			if inside(y[i]) {
				out = y[i-1]
			}
			edge := from
			if out > to {
				edge = to
			}
			f := (edge - y[i-1]) / (y[i] - y[i-1])
			add(x[i-1]+f*(x[i]-x[i-1]), edge)
		}
		if inside(y[i]) {
			add(x[i], y[i])
		} else {
			add(x[i], math.NaN())
		}
	}
	return cx, cy
}

// spread moves label heights apart to at least gap, keeping their order and
// staying inside from..to as far as they fit. Heights must ascend.
func spread(y []float64, gap, from, to float64) []float64 {
	out := append([]float64(nil), y...)
	for i := range out {
		low := from
		if i > 0 {
			low = out[i-1] + gap
		}
		out[i] = math.Max(out[i], low)
	}
	for i := len(out) - 1; i >= 0; i-- {
		high := to
		if i < len(out)-1 {
			high = out[i+1] - gap
		}
		out[i] = math.Min(out[i], high)
	}
	return out
}
