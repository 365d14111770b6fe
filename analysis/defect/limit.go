package defect

import (
	"fmt"
	"math"
	"slices"
)

// Limit is one threshold. Overrides by key are checked against Min and Max.
type Limit struct {
	Key      string
	Unit     string
	Default  float64
	ByKind   map[Kind]float64 // defaults that differ; nil = none
	Min, Max float64          // range of overrides
	What     string
	Source   string
}

const practice = "common practice, no source"

// limits is the table of all thresholds.
var limits = []Limit{
	{"clip_run", "samples", 3, nil, 2, 64, "equal samples in a row that make a flat top",
		"common practice; no ITU, EBU or AES text names a run length"},
	{"clip_places", "", 1, nil, 1, 1e6, "flat tops at full scale that make a finding", practice},
	{"flat_places", "", 4, nil, 1, 1e6, "flat tops below full scale, all at the highest level of the file, that make a finding", practice},
	{"flat_min_dbfs", "dBFS", -30, nil, -90, 0, "flat tops under this level are not judged", practice},
	{"true_peak_dbtp", "dBTP", -1, nil, -20, 6, "highest true peak allowed", "EBU R 128, production limit"},
	{"fold_gain_db", "dB", -3.01, nil, -12, 0, "gain of left and right on fold-down to mono", "ITU-R BS.775, downward mixing to 1/0 (from memory)"},
	{"fold_peak_dbfs", "dBFS", 0, nil, -20, 6, "highest sample peak allowed after fold-down to mono", "full scale"},
	{"fold_loss_db", "dB", 6, nil, 1, 60, "loss on fold-down against channels that have nothing in common", practice},
	{"dc", "", 0.01, nil, 0.0001, 1, "mean of a channel, full scale = 1 (0.01 = -40 dBFS)", practice},
	{"hum_below_speech_db", "dB", 45, nil, 10, 90, "hum must be this far under the active speech level", practice},
	{"hum_line_db", "dB", 12, nil, 6, 40, "how far a mains line stands above what is beside it", practice},
	{"pause_s", "s", 0.3, nil, 0.2, 10, "pauses needed to judge hum", practice},
	{"speech_to_noise_db", "dB", 35, nil, 5, 90, "active speech level over the noise in the pauses", practice},
	{"click_ratio", "", 4, nil, 2, 100, "how far a click stands above all else within 60 ms, amplitude ratio of the second difference", practice},
	{"click_residual_ratio", "", 9, map[Kind]float64{Callout: 5, Engine: 5}, 2, 100, "how far a click stands above all else within 22 ms, amplitude ratio of what linear prediction leaves; drums need the higher one", practice},
	{"click_min_dbfs", "dBFS", -46, nil, -90, 0, "clicks with a smaller second difference are not judged", practice},
	{"dropout_s", "s", 0.001, nil, 0.0005, 0.1, "shortest standstill inside sound that is a dropout", practice},
	{"dropout_max_s", "s", 0.08, nil, 0.001, 0.1, "longest standstill that is a dropout; longer ones are rests", practice},
	{"edge_step", "", 0.01, nil, 0.0005, 1, "first or last sample allowed, full scale = 1", practice},
	{"edge_ratio", "", 2, nil, 1, 100, "first or last sample over the largest step in the 10 ms beside it", practice},
	{"cut_off_below_db", "dB", 14, nil, 3, 60, "the last 10 ms must be this far under the active level, or fading", practice},
	{"lead_s", "s", 0.03, nil, 0.001, 10, "silence allowed at the start", practice},
	{"tail_s", "s", 1, nil, 0.01, 60, "silence allowed at the end", practice},
	{"silence_below_db", "dB", 40, nil, 20, 90, "what is this far under the active level counts as silence at the ends", practice},
	{"silent_dbfs", "dBFS", -80, nil, -140, -40, "a file whose peak is under this is silent", practice},
	{"seam_click_ratio", "", 2, nil, 1.2, 100, "second difference at the seam over the largest one near it", practice},
	{"seam_level_db", "dB", 1.5, nil, 0.3, 20, "level step at the seam", practice},
	{"seam_colour_db", "dB", 4, nil, 1, 30, "mean difference of octave levels across the seam", practice},
	{"seam_cycle_share", "", 0.08, nil, 0.01, 0.5, "share of a cycle by which the loop may be off", practice},
	{"dead_channel_db", "dB", 60, nil, 20, 120, "a channel this far under the loudest one is dead", practice},
	{"identical_db", "dB", 70, nil, 20, 140, "channels whose difference is this far under them are identical", practice},
	{"opposite_correlation", "", -0.9, nil, -1, 0, "correlation of a pair of channels", practice},
	{"tolerance_lu", "LU", 1, nil, 0.1, 30, "distance from the target allowed", "the sheet's default; EBU R 128 allows 1 LU for live programmes"},
	{"spread_lu", "LU", 6, map[Kind]float64{Effect: 12, Other: 12, Engine: 9}, 0.5, 60, "width of a category, 10th to 90th percentile", practice},
	{"bandwidth_share", "", 0.75, nil, 0.1, 0.95, "steep upper edge allowed, as a share of half the sample rate", practice},
	{"bandwidth_edge_db", "dB", 30, nil, 15, 90, "drop within about a third of an octave that makes an edge steep", practice},
	{"name_bytes", "bytes", 255, nil, 8, 255, "longest file name", "FAT long names hold 255 UTF-16 units, most other systems 255 bytes"},
}

// Limits returns the table of all thresholds. The slice is the caller's own.
func Limits() []Limit { return slices.Clone(limits) }

// Options says how to judge a sound. The zero value judges a sound of kind
// Other by the default limits.
type Options struct {
	Kind Kind
	// WholeLoop says that the file is played in a loop from its last frame
	// back to its first. The seam is then judged, the ends are not. Loop points
	// in the file come first.
	WholeLoop bool
	values    map[string]float64 // overrides, checked
}

// NewOptions returns options for a kind with some limits overridden. An unknown
// key or a value out of range is an error that says what would be right.
func NewOptions(kind Kind, overrides map[string]float64) (Options, error) {
	keys := make([]string, 0, len(overrides))
	for k := range overrides {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	o := Options{Kind: kind, values: make(map[string]float64, len(keys))}
	for _, k := range keys {
		l, ok := limitByKey(k)
		if !ok {
			return Options{}, fmt.Errorf("unknown limit %q; did you mean %q?", k, nearestKey(k))
		}
		v := overrides[k]
		if math.IsNaN(v) || v < l.Min || v > l.Max {
			return Options{}, fmt.Errorf("limit %s = %g is out of range; can be %g to %g %s", k, v, l.Min, l.Max, l.Unit)
		}
		o.values[k] = v
	}
	return o, nil
}

// Limit returns the limit in force. It panics on a key that is not in the table.
func (o Options) Limit(key string) float64 {
	if v, ok := o.values[key]; ok {
		return v
	}
	l, ok := limitByKey(key)
	if !ok {
		panic("defect: no limit " + key)
	}
	if v, ok := l.ByKind[o.Kind]; ok {
		return v
	}
	return l.Default
}

// applies reports whether the rule is judged under these options.
func (o Options) applies(id string) bool { return mustRule(id).Applies(o.Kind) }

func limitByKey(key string) (Limit, bool) {
	for _, l := range limits {
		if l.Key == key {
			return l, true
		}
	}
	return Limit{}, false
}

// nearestKey returns the key with the smallest edit distance.
func nearestKey(key string) string {
	best, bestD := "", math.MaxInt
	for _, l := range limits {
		if d := editDistance(key, l.Key); d < bestD {
			best, bestD = l.Key, d
		}
	}
	return best
}

// editDistance counts the insertions, deletions and replacements between a and b
// (Levenshtein), by bytes.
func editDistance(a, b string) int {
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := range len(a) {
		diag := row[0]
		row[0] = i + 1
		for j := range len(b) {
			cost := diag
			if a[i] != b[j] {
				cost++
			}
			diag = row[j+1]
			row[j+1] = min(cost, row[j]+1, row[j+1]+1)
		}
	}
	return row[len(b)]
}
