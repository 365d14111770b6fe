package solve

import (
	"math"
	"slices"

	"tachbench/analysis/sii"
	"tachbench/mixplan/meet"
)

// moments is the index of a callout at every moment of every meeting.
type moments struct {
	meetings, each int
	index          []float64 // one meeting after the other
}

func newMoments(q *meet.Prepared) moments {
	return moments{q.Meetings(), q.Moments(), make([]float64, q.Meetings()*q.Moments())}
}

// of returns the moments of one meeting, to be written to or read.
func (m moments) of(meeting int) []float64 {
	return m.index[meeting*m.each : (meeting+1)*m.each]
}

// means returns the index of every meeting, NaN without speech.
func (m moments) means() []float64 {
	out := make([]float64, m.meetings)
	for i := range out {
		for _, v := range m.of(i) {
			out[i] += v
		}
		out[i] /= float64(m.each)
	}
	return out
}

// weak returns the 10th percentile over all moments of all meetings.
func (m moments) weak() float64 {
	_, p10, _ := sii.Summary(slices.Clone(m.index))
	return p10
}

// weakest returns the moment with the lowest median over the meetings, the
// first of such, and by how much that is under the mean of these medians; 0 and
// NaN if there is none.
func (m moments) weakest() (at int, below float64) {
	lowest, sum := math.NaN(), 0.0
	here := make([]float64, m.meetings)
	for i := range m.each {
		for k := range here {
			here[k] = m.index[k*m.each+i]
		}
		v := median(here)
		if sum += v; !(v >= lowest) {
			lowest, at = v, i
		}
	}
	return at, max(0, sum/float64(m.each)-lowest)
}

// weak returns moments.weak of every callout with nothing yielding. The meetings
// look at the package's own frames: it has to be asked before they are trimmed.
func (p *problem) weak() []float64 {
	out := make([]float64, len(p.prepared))
	open := p.pkg.Unity()
	parallel(len(out), p.workers, func(i int) {
		m := newMoments(p.prepared[i])
		for k := range m.meetings {
			p.prepared[i].IndexMoments(m.of(k), k, &p.hall, open)
		}
		out[i] = m.weak()
	})
	return out
}
