package solve

import (
	"math"

	"tachbench/analysis/exposure"
	"tachbench/mixplan/headroom"
	"tachbench/mixplan/meet"
)

// Hearing is what reaches an ear at the player's place with the plan.
type Hearing struct {
	MachineDBA float64 // LAeq of the machine over play as it was simulated
	CalloutDBA float64 // of the loudest callout while it speaks
	HallDBA    float64
	Player     exposure.Estimate // PlayerHours of play a day
	Staff      exposure.Estimate // exposure.DayHours beside the machine, at the player's place
}

// PlayerHours is how long a player is taken to play in a day.
const PlayerHours = 1

// hearing adds up the long-term levels by the share of time in which each
// sound plays.
func hearing(pkg *meet.Package, rates []headroom.Rate) Hearing {
	h := Hearing{HallDBA: pkg.Chain.Hall.DBA(), CalloutDBA: math.Inf(-1)}
	power := 0.0
	perMin := map[string]float64{}
	for _, r := range rates {
		perMin[r.Category] = r.PerMin
	}
	share := func(sounds []*meet.Sound, category string) {
		beds, events := 0, 0
		for _, s := range sounds {
			if s.Bed() {
				beds++
			} else {
				events++
			}
		}
		for _, s := range sounds {
			part := 1 / float64(max(1, beds))
			if !s.Bed() {
				part = perMin[category] / 60 * s.DurationS / float64(events)
			}
			power += part * math.Pow(10, s.Long.DBA()/10)
		}
	}
	share(pkg.Callouts, meet.Callout)
	for _, c := range pkg.Callouts {
		if len(c.Spans) > 0 {
			h.CalloutDBA = math.Max(h.CalloutDBA, c.ActiveDBA)
		}
	}
	for _, b := range pkg.Buses {
		share(b.Sounds, b.Category)
	}
	h.MachineDBA = 10 * math.Log10(power)
	ear := exposure.Ear{MachineDBA: h.MachineDBA, HallDBA: h.HallDBA, HoursPerDay: PlayerHours, DaysPerWeek: 1}
	h.Player = exposure.Assess(ear)
	ear.HoursPerDay, ear.DaysPerWeek, ear.AtWork = exposure.DayHours, 5, true
	h.Staff = exposure.Assess(ear)
	return h
}
