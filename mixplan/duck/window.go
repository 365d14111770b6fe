package duck

import (
	"math"
	"slices"
)

// Window is a stretch of frames, To exclusive.
type Window struct{ From, To int64 }

// windows are sorted and apart from each other.
type windows []Window

// add merges a window in.
func (w windows) add(n Window) windows {
	if n.To <= n.From {
		return w
	}
	// Those from i to j touch the new one.
	i, _ := slices.BinarySearchFunc(w, n.From, func(e Window, from int64) int {
		if e.To < from {
			return -1
		}
		return 1
	})
	j := i
	for j < len(w) && w[j].From <= n.To {
		n.From, n.To = min(n.From, w[j].From), max(n.To, w[j].To)
		j++
	}
	return slices.Replace(w, i, j, n)
}

// at rounds seconds to a frame.
func at(tS float64, rateHz int) int64 {
	return int64(math.Round(max(-1e9, min(1e9, tS)) * float64(rateHz)))
}
