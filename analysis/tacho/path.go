package tacho

import "math"

// How revs may move between two path hops. The cost is the lesser of a
// parabola and a straight line, in units of the emission score; a jump to
// anywhere is possible at jumpCost (a cut between two takes).
const (
	reachPerS = 4.0   // widest relative change looked at, 1/s
	parabola  = 0.001 // per grid step squared
	straight  = 0.01  // per grid step
	jumpCost  = 2.0
)

// bestPath returns the grid place per hop with the highest total score, made
// finer than the grid by a parabola through its neighbours.
func bestPath(rows [][]float32, g grid) []float64 {
	hops, n := len(rows), g.n
	if hops == 0 {
		return nil
	}
	reach := int(reachPerS * pathHopS / g.logStep)
	cost := make([]float64, reach+1)
	for d := range cost {
		cost[d] = math.Min(parabola*float64(d*d), straight*float64(d))
	}
	total, next := make([]float64, n), make([]float64, n)
	for i, v := range rows[0] {
		total[i] = float64(v)
	}
	from := make([][]int32, hops)
	fromAll := make([]int32, hops*n)
	for h := 1; h < hops; h++ {
		from[h] = fromAll[h*n : (h+1)*n]
		top := maxIndex(total)
		for i := range next {
			best, at := total[top]-jumpCost, top
			// No better origin can be found once the cost alone exceeds
			// what the best total could give.
			if v := total[i]; v > best {
				best, at = v, i
			}
			for d := 1; d <= reach && total[top]-cost[d] > best; d++ {
				if j := i - d; j >= 0 && total[j]-cost[d] > best {
					best, at = total[j]-cost[d], j
				}
				if j := i + d; j < n && total[j]-cost[d] > best {
					best, at = total[j]-cost[d], j
				}
			}
			next[i] = best + float64(rows[h][i])
			from[h][i] = int32(at)
		}
		total, next = next, total
	}
	path := make([]float64, hops)
	at := maxIndex(total)
	for h := hops - 1; h >= 0; h-- {
		path[h] = float64(at) + vertex(rows[h], at)
		if h > 0 {
			at = int(from[h][at])
		}
	}
	return path
}

func maxIndex(x []float64) int {
	best := 0
	for i, v := range x {
		if v > x[best] {
			best = i
		}
	}
	return best
}

// vertex returns where between -0.5 and 0.5 the parabola through the score
// at i and its neighbours peaks, 0 if it does not.
func vertex(row []float32, i int) float64 {
	if i == 0 || i == len(row)-1 {
		return 0
	}
	a, b, c := float64(row[i-1]), float64(row[i]), float64(row[i+1])
	bend := a - 2*b + c
	if bend >= 0 {
		return 0
	}
	return math.Min(0.5, math.Max(-0.5, 0.5*(a-c)/bend))
}
