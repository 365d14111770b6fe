package defect

import (
	"cmp"
	"fmt"
	"math"
	"slices"
)

// Severity ranks findings. The zero value is Note.
type Severity int

// The severities, rising.
const (
	Note Severity = iota
	Warning
	Error
)

var severityNames = [...]string{Note: "note", Warning: "warning", Error: "error"}

// String returns "note", "warning" or "error".
func (s Severity) String() string { return severityNames[s] }

// Finding is one thing that is wrong with one sound.
type Finding struct {
	Rule     string // id from [Rules]
	Severity Severity
	AtS      float64 // seconds from the start of the file; NaN = the whole file
	Channel  int     // 0-based; -1 = all channels
	Value    float64 // what was measured, in Unit; NaN where there is no number
	Limit    float64 // the limit that was passed, in Unit; NaN where there is none
	Unit     string  // "dBFS", "s", "samples", …; empty without numbers
	Message  string  // what it is, why it matters, what to do; whole sentences
}

// allChannels and wholeFile say that a finding has no channel or no place.
const allChannels = -1

var wholeFile = math.NaN()

// reading is a value beside its limit.
type reading struct {
	value, limit float64
	unit         string
}

var noReading = reading{value: math.NaN(), limit: math.NaN()}

// found builds a finding of a rule. The sentence says what was found here; why
// it matters and what to do follow from the table.
func found(id string, atS float64, channel int, r reading, format string, args ...any) Finding {
	rule := mustRule(id)
	return Finding{
		Rule: id, Severity: rule.Severity, AtS: atS, Channel: channel,
		Value: r.value, Limit: r.limit, Unit: r.unit,
		Message: fmt.Sprintf(format, args...) + " " + rule.Why + " " + rule.Do,
	}
}

// Sort orders findings: worst first, then by place (whole-file findings before
// places), rule and channel.
func Sort(fs []Finding) {
	slices.SortStableFunc(fs, func(a, b Finding) int {
		return cmp.Or(cmp.Compare(b.Severity, a.Severity), cmp.Compare(a.AtS, b.AtS),
			cmp.Compare(a.Rule, b.Rule), cmp.Compare(a.Channel, b.Channel))
	})
}

// sameEverywhereS is how far apart findings of one rule in different channels
// may be to count as one event.
const sameEverywhereS = 0.002

// mergeChannels turns findings of one rule that occur at the same time in all
// channels into one for all channels, with the numbers and words of the channel
// whose value is largest.
func mergeChannels(fs []Finding, channels int) []Finding {
	if channels < 2 {
		return fs
	}
	used := make([]bool, len(fs))
	out := fs[:0:0]
	for i, f := range fs {
		if used[i] {
			continue
		}
		if f.Channel == 0 {
			twins := make([]int, 0, channels)
			for ch := 1; ch < channels; ch++ {
				for j, g := range fs {
					if !used[j] && g.Channel == ch && g.Rule == f.Rule && together(f.AtS, g.AtS) {
						twins = append(twins, j)
						break
					}
				}
			}
			if len(twins) == channels-1 {
				for _, j := range twins {
					used[j] = true
					if math.Abs(fs[j].Value) > math.Abs(f.Value) {
						f = fs[j]
					}
				}
				f.Channel = allChannels
			}
		}
		out = append(out, f)
	}
	return out
}

func together(a, b float64) bool {
	return math.IsNaN(a) && math.IsNaN(b) || math.Abs(a-b) <= sameEverywhereS
}
