package sheet

import "strings"

// closest returns the candidate that name was probably meant to be, or "".
func closest(name string, candidates []string) string {
	best, bestDistance := "", 0
	for _, c := range candidates {
		d := editDistance(strings.ToLower(name), strings.ToLower(c))
		if strings.HasPrefix(c, name+"_") {
			d = 1 // at for at_s, target for target_lufs: only the unit is missing
		}
		if allowed := max(1, min(3, len([]rune(c))/3)); d > allowed {
			continue
		}
		if best == "" || d < bestDistance {
			best, bestDistance = c, d
		}
	}
	return best
}

// editDistance counts the insertions, deletions, replacements and swaps of
// neighbours that turn a into b (optimal string alignment). Names longer than
// a key can sensibly be are never close.
func editDistance(a, b string) int {
	const longest = 64
	x, y := []rune(a), []rune(b)
	if len(x) > longest || len(y) > longest {
		return longest
	}
	before, last, row := make([]int, len(y)+1), make([]int, len(y)+1), make([]int, len(y)+1)
	for j := range last {
		last[j] = j
	}
	for i := 1; i <= len(x); i++ {
		row[0] = i
		for j := 1; j <= len(y); j++ {
			same := 1
			if x[i-1] == y[j-1] {
				same = 0
			}
			row[j] = min(last[j]+1, row[j-1]+1, last[j-1]+same)
			if i > 1 && j > 1 && x[i-1] == y[j-2] && x[i-2] == y[j-1] {
				row[j] = min(row[j], before[j-2]+1)
			}
		}
		before, last, row = last, row, before
	}
	return last[len(y)]
}
