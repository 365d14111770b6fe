package exposure

// Action is how far an exposure at work reaches on the scale of Directive
// 2003/10/EC article 3.
type Action int

const (
	Below       Action = iota // below every action value
	LowerAction               // protectors must be offered, people informed
	UpperAction               // protectors must be worn, a noise programme is due
	OverLimit                 // over the limit value; that limit counts what protectors take away
)

// The values of article 3: daily exposure in dBA, and the peak sound pressure
// in Pa and as the C-weighted peak level in dB that the directive prints.
const (
	LowerActionDBA, LowerActionPa, LowerActionPeakDBC = 80, 112, 135
	UpperActionDBA, UpperActionPa, UpperActionPeakDBC = 85, 140, 137
	LimitDBA, LimitPa, LimitPeakDBC                   = 87, 200, 140
)

// EUAction places a daily exposure L_EX,8h on the scale. An action value
// counts as reached when equalled, the limit only when exceeded. (From memory
// the directive says "matches or exceeds" of the upper action value alone;
// equality is counted against the machine.) NaN is below.
func EUAction(dailyDBA float64) Action {
	switch {
	case dailyDBA > LimitDBA:
		return OverLimit
	case dailyDBA >= UpperActionDBA:
		return UpperAction
	case dailyDBA >= LowerActionDBA:
		return LowerAction
	}
	return Below
}

func (a Action) String() string {
	return [...]string{"below the lower action value", "lower action value reached",
		"upper action value reached", "over the limit value"}[a]
}
