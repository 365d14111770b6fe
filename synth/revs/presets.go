package revs

import (
	"fmt"
	"strings"
)

// DefaultPreset is used when a Spec names none.
const DefaultPreset = "street twin"

// preset is a kind of machine. Inertia and torque follow the worked rows of
// the engine reference where it has one (600 cc four, 1.0 L twin, 1.2 L
// V-twin, 2.0 L car, 5.0 L eight, diesels, 125 kart); the others, and all
// lags, wanders and limiter figures, are common practice without a source.
type preset struct {
	name           string
	physics        Physics
	lagS           float64
	idleWander     float64 // SD as a fraction of idle
	idleSettleS    float64
	limiterDropRPM float64
	limiterHz      float64
}

// twoStrokeBar is a two-stroke's friction: no valve train and no gas
// exchange strokes, so about half of Heywood's (common practice, no source).
var twoStrokeBar = [3]float64{0.55, 0.08, 0.022}

var presets = []preset{
	{"snow sled", Physics{0.022, 78, FrictionTorque(twoStrokeBar, 0.6, 2), 0}, 0.08, 0.022, 0.8, 180, 14},
	{"trail bike", Physics{0.008, 24, HeywoodFriction(0.25, 4), 0}, 0.06, 0.025, 0.7, 200, 14},
	{"street twin", Physics{0.030, 95, HeywoodFriction(1.0, 4), 0}, 0.08, 0.015, 0.7, 150, 13},
	{"sport four", Physics{0.010, 62, HeywoodFriction(0.6, 4), 0}, 0.05, 0.012, 0.6, 200, 17},
	{"heavy vee", Physics{0.12, 100, HeywoodFriction(1.2, 4), 0}, 0.10, 0.025, 1.0, 100, 9},
	{"rally car", Physics{0.15, 190, HeywoodFriction(2.0, 4), 0}, 0.08, 0.015, 0.8, 150, 12},
	{"big eight", Physics{0.30, 450, HeywoodFriction(5.0, 4), 0}, 0.10, 0.015, 0.9, 120, 10},
	{"diesel car", Physics{0.25, 300, HeywoodFriction(2.0, 4), 0}, 0.15, 0.008, 0.8, 80, 8},
	// 1800 N·m under load; snapped open without load the fuel and the boost
	// arrive late, and 0.7..1.5 s to governed speed is what is seen.
	{"truck", Physics{3.0, 800, HeywoodFriction(12, 4), 0}, 0.15, 0.006, 1.0, 40, 6},
	{"kart", Physics{0.004, 21, FrictionTorque(twoStrokeBar, 0.125, 2), 0}, 0.04, 0.02, 0.6, 250, 18},
	{"hire kart", Physics{0.020, 18, HeywoodFriction(0.27, 4), 0}, 0.08, 0.02, 0.9, 120, 9},
	{"outboard", Physics{0.06, 110, FrictionTorque(twoStrokeBar, 1.1, 2), 0}, 0.09, 0.03, 1.0, 120, 10},
	{"garden engine", Physics{0.015, 10, HeywoodFriction(0.19, 4), 0}, 0.10, 0.02, 1.2, 80, 7},
}

// Presets returns the names of the kinds of machine, in a fixed order.
func Presets() []string {
	names := make([]string, len(presets))
	for i, p := range presets {
		names[i] = p.name
	}
	return names
}

// findPreset looks a name up, case and spacing aside.
func findPreset(name string) (preset, error) {
	want := strings.Join(strings.Fields(strings.ToLower(strings.NewReplacer("-", " ", "_", " ").Replace(name))), " ")
	if want == "" {
		want = DefaultPreset
	}
	best, bestAt := len(want)/2+1, -1
	for i, p := range presets {
		if p.name == want {
			return p, nil
		}
		if d := editDistance(want, p.name); d < best {
			best, bestAt = d, i
		}
	}
	hint := ""
	if bestAt >= 0 {
		hint = fmt.Sprintf("; did you mean %q?", presets[bestAt].name)
	}
	return preset{}, fmt.Errorf("preset: no kind of machine is called %.60q%s (there are: %s)", name, hint, strings.Join(Presets(), ", "))
}

// editDistance is the Levenshtein distance in bytes.
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
			row[j+1] = min(cost, row[j+1]+1, row[j]+1)
		}
	}
	return row[len(b)]
}
