package mixplan

import (
	"fmt"

	"tachbench/samples/sheet"
)

// Engine is the category of the engine note, which has no files of its own.
const Engine = "engine"

// Plan is what the machine has to do to its sounds. The zero value changes
// nothing.
type Plan struct {
	File  string // as given to Load or Parse; empty if it was computed
	Title string // of the sheet it was made for; for people

	BusGainDB  float64 // gain of the sum of everything, -60..12
	BusGainWhy string  // one line, written behind the number; not read back

	Priorities []Priority // by name
	Trims      []Trim     // in the order of the file
	Ducks      []Duck     // in the order of the file

	at map[string]position // where the file has a key
}

// Priority of a category; it stands above the sheet's own.
type Priority struct {
	Category string
	Value    int // 0..100, higher wins when sounds meet
}

// Trim is the constant gain of a file or of a whole category. Both add up.
type Trim struct {
	Path     string // relative to the sheet; empty: the whole category
	Category string
	TrimDB   float64 // -60..24
	Why      string  // one line, written behind the number; not read back
}

// Duck says that one category yields while another speaks. See mixplan/duck
// for the law.
type Duck struct {
	Under    string // the category that speaks
	Category string // the category that yields

	DepthDB     float64 // how far it yields, 0..MaxDepthDB, the engine MaxEngineDepthDB
	AttackMS    float64 // from 0 to DepthDB, 5..2000
	HoldMS      float64 // from the last speech to the first move back, 0..5000
	ReleaseMS   float64 // from DepthDB back to 0, 20..10000
	LookaheadMS float64 // how long before the speech the attack begins, 0..1000
	Dip         *Dip    // nil: all frequencies yield

	// Why holds the reason for a number by its key in plan.toml, such as
	// depth_db. Written behind the number; not read back.
	Why map[string]string
}

// Dip limits a duck to a band: the full depth at √(LowHz·HighHz), half of the
// depth in dB at either edge.
type Dip struct {
	LowHz, HighHz float64 // 50..20000, HighHz at least 1.2·LowHz
}

// TrimDB returns the gain of a file of a category: the category's trim and
// its own. A nil plan trims nothing.
func (p *Plan) TrimDB(category, path string) float64 {
	if p == nil {
		return 0
	}
	var sum float64
	for _, t := range p.Trims {
		if t.Category == category && (t.Path == "" || t.Path == path) {
			sum += t.TrimDB
		}
	}
	return sum
}

// Yielding returns the ducks under which a category yields, in the order of
// the plan.
func (p *Plan) Yielding(category string) []Duck {
	if p == nil {
		return nil
	}
	var out []Duck
	for _, d := range p.Ducks {
		if d.Category == category {
			out = append(out, d)
		}
	}
	return out
}

// Errorf returns a problem placed at a key of the plan's file, or at the
// table around it if the file does not have the key.
func (p *Plan) Errorf(key, format string, args ...any) *sheet.Error {
	return p.fault(key, fmt.Sprintf(format, args...), "")
}
