package audit

import (
	"tachbench/analysis/band"
	"tachbench/analysis/defect"
	"tachbench/analysis/loudness"
	"tachbench/analysis/peak"
	"tachbench/analysis/speech"
	"tachbench/samples"
	"tachbench/samples/sheet"
)

// Result is all that was found.
type Result struct {
	Sheet      *sheet.Sheet // nil without one
	Sounds     []Sound      // in byte order of Path
	Unreadable []Unreadable // in byte order of Path

	// Package holds findings that belong to no sound in Sounds: a category's
	// spread (no path), files that the sheet never uses, entries of the sheet
	// without a file (the path is as the sheet writes it, maybe a pattern).
	// Worst first.
	Package []Located

	// Categories are those of the sheet in its order, or the one that the
	// caller gave. Sounds without a category are in none.
	Categories []Category
}

// Located is a finding with the path and the category it is about; either may
// be empty.
type Located struct {
	Path, Category string
	defect.Finding
}

// Category sums up the sounds of one category.
type Category struct {
	Name        string
	Sounds      int     // measured ones, stand-ins among them
	StandIns    int     // not final yet
	TargetLUFS  float64 // NaN if there is none
	ToleranceLU float64 // NaN without a target
	MedianLUFS  float64 // of the final sounds; NaN if none could be measured
}

// Unreadable is a path that could not be audited.
type Unreadable struct {
	Path     string
	Category string
	Err      error // without the path in front
	Finding  defect.Finding
	Missing  bool // named by the caller and not there
}

// Sound is one measured sound.
type Sound struct {
	Path      string // as the caller can open it
	Category  string // "" for none
	StandIn   bool   // not final yet
	Recording bool   // of the engine: source material

	Info   samples.Info // Frames is what was read
	Bytes  int64        // size of the file
	Levels loudness.Result
	Peaks  peak.Result
	Ends   Ends
	Stereo Stereo

	// Speech is measured on the mean of all channels, in callouts only; nil
	// for other sounds.
	Speech *speech.Result

	// ThirdOctaves is the long-term spectrum, the power mean of all channels.
	ThirdOctaves []band.Band
	// EdgeHz is where the sound ends abruptly, far from its own nature; NaN
	// if there is no such edge.
	EdgeHz float64

	Findings []defect.Finding // worst first
	Chart    *Chart           // nil unless asked for

	content string // equal content means equal sound; "" unknown
}

// Worst returns the highest severity of the findings; false without any.
func (s *Sound) Worst() (defect.Severity, bool) {
	if len(s.Findings) == 0 {
		return 0, false
	}
	w := s.Findings[0].Severity
	for _, f := range s.Findings {
		w = max(w, f.Severity)
	}
	return w, true
}

// DurationS is the length that was read, in seconds.
func (s *Sound) DurationS() float64 { return s.Info.DurationS() }

// Count returns how many findings there are of each severity, unreadable
// files and findings about the package among them.
func (r *Result) Count() (errors, warnings, notes int) {
	add := func(s defect.Severity) {
		switch s {
		case defect.Error:
			errors++
		case defect.Warning:
			warnings++
		default:
			notes++
		}
	}
	for i := range r.Sounds {
		for _, f := range r.Sounds[i].Findings {
			add(f.Severity)
		}
	}
	for _, f := range r.Package {
		add(f.Severity)
	}
	for _, u := range r.Unreadable {
		add(u.Finding.Severity)
	}
	return errors, warnings, notes
}

// MissingPaths reports how many of the paths that the caller named are not
// there.
func (r *Result) MissingPaths() int {
	n := 0
	for _, u := range r.Unreadable {
		if u.Missing {
			n++
		}
	}
	return n
}

// RMSDBFS is the root mean square of all channels together, re amplitude 1;
// false if silent.
func (s *Sound) RMSDBFS() (float64, bool) {
	var power float64
	for _, c := range s.Peaks.Channels {
		power += c.RMS * c.RMS / float64(len(s.Peaks.Channels))
	}
	return samples.PowerDB(power), power > 0
}

// CrestDB is the highest sample peak over RMSDBFS; false if silent.
func (s *Sound) CrestDB() (float64, bool) {
	rms, ok := s.RMSDBFS()
	top, _ := s.Peaks.SamplePeakDBFS()
	return top - rms, ok
}
