// Package exposure turns estimated sound levels at the ear into daily and
// weekly noise exposure and sets them beside published limits.
//
// Nothing here measures. Levels are A-weighted energy means (LAeq) in dB re
// 20 µPa, times are hours. A level computed from files and a stated level at
// the ear is an estimate; see [Caution], which belongs beside every number
// that a person reads.
//
// The published rules trade time for level in two ways: equal energy, 10·log10,
// and a whole-number exchange rate of 3 or 5 dB per doubling. They differ by
// 0.3 % a doubling. Each function follows the rule as it is published.
package exposure

import (
	"fmt"
	"math"
)

// Caution is to be printed with every exposure figure.
const Caution = "Estimate from the sound files and the stated level at the ear, not a measurement. " +
	"Only a calibrated sound level meter or dosimeter at the ear, used as the local rules ask, decides."

// Stretch is a time spent at one level.
type Stretch struct {
	LevelDBA float64 // LAeq; -Inf is silence
	Hours    float64 // 0 and over
}

// DayHours is the working day that daily exposure is normalised to.
const DayHours = 8

// DailyDBA returns the daily exposure level L_EX,8h: the level that, held for
// 8 hours, carries the energy of all stretches (ISO 1999; EU 2003/10/EC
// article 2). Without any energy it is -Inf. It panics if a time is negative.
func DailyDBA(day ...Stretch) float64 { return normalised(DayHours, day) }

// MeanDBA returns the energy mean over the stretches' own time, LAeq; NaN if
// that is zero.
func MeanDBA(stretches ...Stretch) float64 {
	var hours float64
	for _, s := range stretches {
		hours += s.Hours
	}
	if hours == 0 {
		return math.NaN()
	}
	return normalised(hours, stretches)
}

func normalised(perHours float64, stretches []Stretch) float64 {
	var sum float64
	for _, s := range stretches {
		if s.Hours < 0 {
			panic(fmt.Sprintf("exposure: %g hours", s.Hours))
		}
		if s.Hours > 0 {
			sum += s.Hours * math.Pow(10, s.LevelDBA/10)
		}
	}
	return 10 * math.Log10(sum/perHours)
}

// Rule is a limit that trades time for level: so many hours at the criterion
// level, half of it for each exchange rate above.
type Rule struct {
	Name         string
	CriterionDBA float64
	Hours        float64 // allowed at the criterion level
	ExchangeDB   float64 // level per halving of the time
	CeilingDBA   float64 // no exposure above this, whatever the time; 0 = none
}

var (
	// NIOSH is the recommended exposure limit of NIOSH publication 98-126
	// (1998): 85 dBA for 8 hours a day, 3 dB exchange, ceiling 115 dBA.
	NIOSH = Rule{"NIOSH recommended limit", 85, 8, 3, 115}
	// OSHA is the permissible exposure limit of 29 CFR 1910.95: 90 dBA for 8
	// hours a day, 5 dB exchange, ceiling 115 dBA (the ceiling from memory).
	OSHA = Rule{"OSHA permissible limit", 90, 8, 5, 115}
	// WeeklyAdult and WeeklySensitive are the two modes of ITU-T H.870 (safe
	// listening with personal devices): per week. Gaming devices are outside
	// its scope; it serves as a guide for the player.
	WeeklyAdult     = Rule{"ITU-T H.870 mode 1, adults", 80, 40, 3, 0}
	WeeklySensitive = Rule{"ITU-T H.870 mode 2, children and sensitive", 75, 40, 3, 0}
)

// AllowedHours returns how long the rule allows a level, Hours·2^(-(L-Lc)/q).
// It may exceed the length of a day or week: no limit is reached then. Above
// the ceiling the formula is still given; see [Rule.OverCeiling].
func (r Rule) AllowedHours(levelDBA float64) float64 {
	return r.Hours * math.Exp2(-(levelDBA-r.CriterionDBA)/r.ExchangeDB)
}

// OverCeiling reports whether the rule forbids the level for any time.
func (r Rule) OverCeiling(levelDBA float64) bool { return r.CeilingDBA > 0 && levelDBA > r.CeilingDBA }

// DosePercent returns 100·Σ time/allowed time: 100 is the whole allowance of
// the rule's day or week.
func (r Rule) DosePercent(stretches ...Stretch) float64 {
	var sum float64
	for _, s := range stretches {
		sum += s.Hours / r.AllowedHours(s.LevelDBA)
	}
	return 100 * sum
}

const referencePa = 20e-6

// PeakDB returns the level of a sound pressure in pascal, dB re 20 µPa.
func PeakDB(pa float64) float64 { return 20 * math.Log10(pa/referencePa) }

// DosePa2h returns sound exposure in Pa²h, Σ p²·t. 80 dBA for 40 hours, the
// H.870 allowance for adults, is 1.6 Pa²h.
func DosePa2h(stretches ...Stretch) float64 {
	var sum float64
	for _, s := range stretches {
		sum += s.Hours * referencePa * referencePa * math.Pow(10, s.LevelDBA/10)
	}
	return sum
}
