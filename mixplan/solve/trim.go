package solve

import (
	"fmt"
	"math"

	"tachbench/mixplan"
	"tachbench/mixplan/meet"
	"tachbench/samples/sheet"
)

// CeilingDBTP is the highest true peak a trimmed file may have (EBU R 128: -1
// dBTP).
const CeilingDBTP = -1

// Trimmed is what becomes of one sound's level.
type Trimmed struct {
	Path     string // empty for the engine
	Category string
	LUFS     float64 // as it is; NaN if it cannot be told
	Target   float64 // of its category; NaN without
	PeakDBTP float64 // as it is; -Inf if silent
	TrimDB   float64
	Why      string
	HeldDB   float64 // by how much its peaks keep it under the target; 0 if not
}

// trims brings every sound outside its category's tolerance to the target and
// every peak under the ceiling, in steps of 0.1 dB.
func trims(pkg *meet.Package, sh *sheet.Sheet) []Trimmed {
	var out []Trimmed
	for _, c := range pkg.Callouts {
		out = append(out, trimOf(c, sh.Category(c.Category)))
	}
	for _, b := range pkg.Buses {
		if b.Sounds[0].RPM > 0 {
			out = append(out, engineTrim(b, sh.Category(b.Category)))
			continue
		}
		for _, s := range b.Sounds {
			out = append(out, trimOf(s, sh.Category(s.Category)))
		}
	}
	return out
}

func trimOf(s *meet.Sound, c *sheet.Category) Trimmed {
	t := Trimmed{Path: s.Path, Category: s.Category, LUFS: s.LUFS, Target: math.NaN(), PeakDBTP: s.PeakDBTP}
	if c != nil && c.TargetLUFS != nil {
		t.Target = *c.TargetLUFS
	}
	t.decide(c)
	return t
}

// engineTrim is one trim for the whole note, by its loudest step.
func engineTrim(b meet.Bus, c *sheet.Category) Trimmed {
	loudest := &meet.Sound{Category: b.Category, LUFS: math.NaN(), PeakDBTP: math.Inf(-1)}
	for _, s := range b.Sounds {
		if !(s.LUFS <= loudest.LUFS) {
			loudest.LUFS = s.LUFS
		}
		loudest.PeakDBTP = math.Max(loudest.PeakDBTP, s.PeakDBTP)
	}
	return trimOf(loudest, c)
}

func (t *Trimmed) decide(c *sheet.Category) {
	room := CeilingDBTP - t.PeakDBTP
	switch {
	case math.IsInf(t.PeakDBTP, -1):
		t.Why = "silent"
	case math.IsNaN(t.Target):
		t.Why = "its category has no target"
	case math.IsNaN(t.LUFS):
		t.Why = "too short or too quiet to have a loudness"
	case math.Abs(t.Target-t.LUFS) <= c.ToleranceLU:
		t.Why = fmt.Sprintf("%.1f LUFS is within %g LU of %g", t.LUFS, c.ToleranceLU, t.Target)
	default:
		t.TrimDB = math.Round((t.Target-t.LUFS)*10) / 10
		t.Why = fmt.Sprintf("from %.1f to %g LUFS", t.LUFS, t.Target)
	}
	if t.TrimDB > room {
		wanted := t.TrimDB
		t.TrimDB = math.Floor(room*10) / 10
		if wanted > 0 {
			t.HeldDB = wanted - t.TrimDB
			t.Why = fmt.Sprintf("%.1f dB are wanted, its peak of %.1f dBTP leaves this much", wanted, t.PeakDBTP)
		} else {
			t.Why = fmt.Sprintf("brings its peak of %.1f dBTP under %d", t.PeakDBTP, CeilingDBTP)
		}
	}
	t.TrimDB = math.Min(math.Max(t.TrimDB, -60), 24)
}

// intoPlan keeps the trims that do something.
func intoPlan(list []Trimmed) []mixplan.Trim {
	var out []mixplan.Trim
	for _, t := range list {
		if t.TrimDB != 0 {
			out = append(out, mixplan.Trim{Path: t.Path, Category: t.Category, TrimDB: t.TrimDB, Why: t.Why})
		}
	}
	return out
}
