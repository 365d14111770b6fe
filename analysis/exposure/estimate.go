package exposure

// PlayLevelDBA and CalloutDBA are what this project asks of a machine: its
// own sound at the player's ear over an hour of play, and the loudest moment
// of a callout. The first is the NIOSH criterion and the EU upper action
// value; the second leaves room to the 110 to 115 dBA named as the most for
// warning signals. Our judgement, no source.
const (
	PlayLevelDBA = 85
	CalloutDBA   = 100
)

// Ear says what reaches one person.
type Ear struct {
	MachineDBA  float64 // LAeq of the machine alone at this ear; -Inf if it cannot be heard
	HallDBA     float64 // LAeq of the hall at this ear
	HoursPerDay float64 // 0 and over
	DaysPerWeek float64 // for the weekly figure
	AtWork      bool    // staff: the work rules apply
}

// Estimate is one person's exposure, with the machine and without it, so
// that what the machine adds can be told from what the hall does anyway.
type Estimate struct {
	LevelDBA      float64 // LAeq of machine and hall together
	DailyDBA      float64 // L_EX,8h
	HallDailyDBA  float64 // the same without the machine
	NIOSHHours    float64 // time allowed a day at LevelDBA
	NIOSHPercent  float64 // daily dose
	OverCeiling   bool    // LevelDBA is above the NIOSH ceiling
	EU            Action  // of DailyDBA
	WeeklyPercent float64 // dose of ITU-T H.870 mode 1, adults
	ChildPercent  float64 // mode 2, children and sensitive
	AtWork        bool
}

// Assess estimates exposure at one ear. Machine and hall add as energies.
func Assess(e Ear) Estimate {
	level := MeanDBA(Stretch{e.MachineDBA, 1}, Stretch{e.HallDBA, 1}) + doubling
	day := Stretch{level, e.HoursPerDay}
	week := Stretch{level, e.HoursPerDay * e.DaysPerWeek}
	return Estimate{
		LevelDBA:      level,
		DailyDBA:      DailyDBA(day),
		HallDailyDBA:  DailyDBA(Stretch{e.HallDBA, e.HoursPerDay}),
		NIOSHHours:    NIOSH.AllowedHours(level),
		NIOSHPercent:  NIOSH.DosePercent(day),
		OverCeiling:   NIOSH.OverCeiling(level),
		EU:            EUAction(DailyDBA(day)),
		WeeklyPercent: WeeklyAdult.DosePercent(week),
		ChildPercent:  WeeklySensitive.DosePercent(week),
		AtWork:        e.AtWork,
	}
}

// doubling is 10·log10(2): the sum of two levels over their mean.
const doubling = 3.010299956639812
