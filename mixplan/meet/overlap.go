package meet

import (
	"math"

	"tachbench/analysis/sii"
	"tachbench/mixplan/ear"
	"tachbench/samples"
)

// Clash is how much two spectra at the ear get in each other's way, 0..1.
type Clash struct {
	// Shape is Σ min(p, q) of the two shares of energy per band: 1 is the same
	// spectrum, whatever the levels. Symmetric.
	Shape float64
	// Masks is how much of the second one disappears behind the first: per
	// band the masker after upward spread (ANSI S3.5) against the other's
	// level, over a range of 30 dB from -15 to +15 dB, weighted with what is
	// important in the second if it is spoken, else with its energy.
	Masks float64
}

// Overlap compares long-term spectra at the ear, as if both sounded at once.
// Silence clashes with nothing. spoken is what counts in the second: for a
// callout its own importance ([Sound.Importance]), for several together the
// mean of theirs ([ImportanceOf]), nil for what is not spoken.
func Overlap(first, second ear.Levels, spoken *sii.Importance) Clash {
	p, pSum := shares(first)
	q, qSum := shares(second)
	if pSum == 0 || qSum == 0 {
		return Clash{}
	}
	var c Clash
	for b := range p {
		c.Shape += math.Min(p[b], q[b])
	}
	spread := spreadDB(first)
	speech := second.SpeechSpectrum()
	weight := 0.0
	for i, e := range speech {
		w := q[ear.SpeechFrom+i]
		if spoken != nil {
			w = spoken.Band[i]
		}
		if w == 0 || math.IsInf(e, -1) {
			continue
		}
		weight += w
		c.Masks += w * math.Min(math.Max((spread[i]-e+15)/30, 0), 1)
	}
	if weight > 0 {
		c.Masks /= weight
	}
	return c
}

func shares(l ear.Levels) (p ear.Levels, sum float64) {
	for b, db := range l {
		p[b] = samples.DBPower(db)
		sum += p[b]
	}
	if sum > 0 {
		for b := range p {
			p[b] /= sum
		}
	}
	return p, sum
}

// spreadDB returns the masking spectrum level of a sound in the speech bands.
func spreadDB(l ear.Levels) sii.Levels {
	m := l.MaskerPower()
	for k, p := range m {
		m[k] = samples.PowerDB(p)
	}
	var silent sii.Levels
	for i := range silent {
		silent[i] = math.Inf(-1)
	}
	_, d := sii.IndexMasked(silent, m, sii.Levels{}, sii.AverageSpeech)
	return d.Z
}

// Together is the long-term spectrum of several sounds, each counting alike.
func Together(sounds []*Sound) ear.Levels {
	var all []ear.Levels
	for _, s := range sounds {
		all = append(all, s.Long)
	}
	return ear.Sum(all...).Plus(-samples.PowerDB(float64(max(1, len(all)))))
}
