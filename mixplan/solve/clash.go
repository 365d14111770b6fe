package solve

import (
	"tachbench/analysis/sii"
	"tachbench/mixplan/ear"
	"tachbench/mixplan/meet"
)

// Clashes is how the spectra of the package get in each other's way. Bands of
// a single callout weigh what they do in it; those of the group of callouts the
// mean over its members, so that single words and sentences count alike.
type Clashes struct {
	Groups []string       // callout, then the buses; the engine in three parts
	Matrix [][]meet.Clash // [i][j]: i masks j, long-term spectra with the plan's trims, before any duck
	Levels []ear.Levels   // of the groups, dB SPL at the ear
	Worst  *Collision     // the callout and the other sound that mask most
}

// Collision is one callout and one other sound.
type Collision struct {
	Callout, Other *meet.Sound
	meet.Clash
}

// group is some sounds under one name.
type group struct {
	name   string
	sounds []*meet.Sound
}

func groups(pkg *meet.Package) []group {
	out := []group{{meet.Callout, pkg.Callouts}}
	for _, b := range pkg.Buses {
		n := len(b.Sounds)
		if b.Sounds[0].RPM == 0 || n < 3 {
			out = append(out, group{b.Category, b.Sounds})
			continue
		}
		out = append(out, group{"engine, low revs", b.Sounds[:n/3]}, group{"engine, middle", b.Sounds[n/3 : n-n/3]}, group{"engine, high revs", b.Sounds[n-n/3:]})
	}
	return out
}

func clashes(pkg *meet.Package) Clashes {
	var c Clashes
	gs := groups(pkg)
	for _, g := range gs {
		c.Groups = append(c.Groups, g.name)
		c.Levels = append(c.Levels, meet.Together(g.sounds))
	}
	callouts := meet.ImportanceOf(pkg.Callouts)
	for i := range gs {
		row := make([]meet.Clash, len(gs))
		for j := range gs {
			var spoken *sii.Importance
			if gs[j].name == meet.Callout {
				spoken = &callouts
			}
			row[j] = meet.Overlap(c.Levels[i], c.Levels[j], spoken)
		}
		c.Matrix = append(c.Matrix, row)
	}
	for _, callout := range pkg.Callouts {
		if len(callout.Spans) == 0 {
			continue
		}
		own := callout.Importance()
		for _, b := range pkg.Buses {
			for _, s := range b.Sounds {
				// Events shorter than half a second mask a syllable, no more.
				if k := meet.Overlap(s.Long, callout.Long, &own); s.DurationS >= 0.5 && (c.Worst == nil || k.Masks > c.Worst.Masks) {
					c.Worst = &Collision{callout, s, k}
				}
			}
		}
	}
	return c
}
