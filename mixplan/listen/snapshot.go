package listen

import (
	"math"

	"tachbench/mixplan/ear"
)

// Snapshot is what the bench shows of itself at one moment.
type Snapshot struct {
	Frame int64 // frames handed out so far

	Scene                      string  // of the scene that plays or played last; empty without one
	PositionS, LengthS         float64 // of the scene
	Looping, Playing, Silenced bool
	HasPlan, Planned           bool // Planned is the switch; it is heard when there is a plan
	Hall, Cabinet              bool
	MatchDB                    float64 // what the path being heard is turned down for equal loudness, <= 0
	Drive                      Drive
	RPM, Load, Lever           float64 // RPM and Load are NaN when no engine sounds
	Limiting                   bool    // the rev limiter of the crank model cuts
	VolumeDB, CeilingDBTP      float64
	MomentaryLUFS              float64 // of the machine's sum before match and headphone volume; NaN before the first 0.4 s, -Inf in silence
	ShortTermLUFS              float64 // likewise, 3 s
	TruePeakDBTP               float64 // of the machine's sum, the last 0.1 to 0.2 s; -Inf in silence
	TruePeakHoldDBTP           float64 // the largest since New or ResetHolds
	Clips                      int     // runs of samples over full scale in the machine's sum since New or ResetHolds
	OutputPeakDBTP             float64 // true peak of what leaves for the headphones, the last 0.1 to 0.2 s
	LimitedDB                  float64 // what the headphone limiter takes now, >= 0
	Buses                      []BusState
	CalloutDB, RestDB, HallDB  ear.Levels // third octaves at the player's ear, dB SPL, the last 170 ms or so
	Callout                    string     // path of the callout that sounds, or sounded last; empty: none yet
	SII                        float64    // its extended SII so far; NaN: none
	SIIDone                    bool       // it has ended, SII is final
}

// BusState is one category. DuckDB and DipDB are what the plan takes now on
// the path being heard, 0 or more: from the whole category, and beyond that
// from its deepest band.
type BusState struct {
	Category      string
	LevelDB       float64 // of the fader
	Mute, Solo    bool
	DuckDB, DipDB float64
}

func nothingYet() Snapshot {
	return Snapshot{
		RPM: math.NaN(), Load: math.NaN(), MomentaryLUFS: math.NaN(), ShortTermLUFS: math.NaN(),
		TruePeakDBTP: math.Inf(-1), TruePeakHoldDBTP: math.Inf(-1), OutputPeakDBTP: math.Inf(-1),
		CalloutDB: ear.Silence(), RestDB: ear.Silence(), HallDB: ear.Silence(), SII: math.NaN(),
	}
}
