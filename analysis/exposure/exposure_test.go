package exposure

import (
	"math"
	"strings"
	"testing"
)

func near(t *testing.T, name string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s: %.6f, want %g ± %g", name, got, want, tol)
	}
}

// TestAllowedTimes: NIOSH 98-126 table, OSHA 29 CFR 1910.95 table, ITU-T
// H.870 with the 3 dB rule.
func TestAllowedTimes(t *testing.T) {
	for _, c := range []struct {
		rule                Rule
		level, minutes, tol float64
	}{
		{NIOSH, 85, 480, 1e-6}, {NIOSH, 88, 240, 1e-6}, {NIOSH, 91, 120, 1e-6}, {NIOSH, 94, 60, 1e-6}, {NIOSH, 97, 30, 1e-6}, {NIOSH, 100, 15, 1e-6},
		{NIOSH, 110, 1.488, 0.001}, {NIOSH, 115, 0.46875, 0.001},
		{OSHA, 90, 480, 1e-9}, {OSHA, 95, 240, 1e-9}, {OSHA, 100, 120, 1e-9},
		{WeeklyAdult, 80, 40 * 60, 1e-6}, {WeeklyAdult, 83, 20 * 60, 1e-6}, {WeeklyAdult, 86, 10 * 60, 1e-6}, {WeeklyAdult, 89, 5 * 60, 1e-6},
		{WeeklyAdult, 95, 1.25 * 60, 1e-6}, {WeeklyAdult, 98, 0.625 * 60, 1e-6},
		{WeeklySensitive, 75, 40 * 60, 1e-6}, {WeeklySensitive, 81, 10 * 60, 1e-6},
	} {
		near(t, c.rule.Name, 60*c.rule.AllowedHours(c.level), c.minutes, c.tol)
	}
	if NIOSH.OverCeiling(115) || !NIOSH.OverCeiling(115.1) || WeeklyAdult.OverCeiling(130) {
		t.Error("ceilings")
	}
}

func TestDosesAndLevels(t *testing.T) {
	near(t, "NIOSH dose of 91 dBA for 2 h", NIOSH.DosePercent(Stretch{91, 2}), 100, 0.1)
	near(t, "93 dBA for 1 h over 8 h", DailyDBA(Stretch{93, 1}), 83.97, 0.01)
	near(t, "80 dBA for 40 h", DosePa2h(Stretch{80, 40}), 1.6, 0.001)
	near(t, "8 h at 85", DailyDBA(Stretch{85, 8}), 85, 1e-9)
	near(t, "8 h at 85 in four parts", DailyDBA(Stretch{85, 2}, Stretch{85, 2}, Stretch{85, 3}, Stretch{85, 1}), 85, 1e-9)
	near(t, "mean of 85 and 85", MeanDBA(Stretch{85, 3}, Stretch{85, 1}), 85, 1e-9)
	near(t, "mean of 90 and silence", MeanDBA(Stretch{90, 1}, Stretch{math.Inf(-1), 1}), 86.9897, 1e-4)
	// Directive 2003/10/EC prints the peaks in Pa and in whole dB.
	near(t, "112 Pa", PeakDB(LowerActionPa), 134.96, 0.01)
	near(t, "140 Pa", PeakDB(UpperActionPa), 136.90, 0.01)
	near(t, "200 Pa", PeakDB(LimitPa), 140.00, 0.01)
	near(t, "112 Pa as printed", PeakDB(LowerActionPa), LowerActionPeakDBC, 0.5)
	near(t, "140 Pa as printed", PeakDB(UpperActionPa), UpperActionPeakDBC, 0.5)
	near(t, "200 Pa as printed", PeakDB(LimitPa), LimitPeakDBC, 0.5)
	if !math.IsInf(DailyDBA(), -1) || !math.IsNaN(MeanDBA()) || DailyDBA(Stretch{math.Inf(1), 0}) > 0 {
		t.Error("no time at all")
	}
	defer func() {
		if recover() == nil {
			t.Error("negative time did not panic")
		}
	}()
	DailyDBA(Stretch{80, -1})
}

func TestEUAction(t *testing.T) {
	for _, c := range []struct {
		level float64
		want  Action
	}{{math.Inf(-1), Below}, {79.99, Below}, {80, LowerAction}, {84.99, LowerAction}, {85, UpperAction}, {87, UpperAction}, {87.01, OverLimit}, {math.NaN(), Below}} {
		if got := EUAction(c.level); got != c.want {
			t.Errorf("%g dBA: %v, want %v", c.level, got, c.want)
		}
	}
	if !strings.Contains(Caution, "Estimate") || !strings.Contains(Caution, "calibrated") {
		t.Error(Caution)
	}
}

// TestAssess: machine and hall at 85 dBA are 88.01 together (reference value
// of level addition); 8 hours of it are four hours too many for NIOSH (88 dBA:
// 4 h) and over the EU limit.
func TestAssess(t *testing.T) {
	e := Assess(Ear{MachineDBA: 85, HallDBA: 85, HoursPerDay: 8, DaysPerWeek: 5, AtWork: true})
	near(t, "level", e.LevelDBA, 88.01, 0.01)
	near(t, "daily", e.DailyDBA, 88.01, 0.01)
	near(t, "hall daily", e.HallDailyDBA, 85, 1e-9)
	near(t, "hours", e.NIOSHHours, 4, 0.015)
	near(t, "dose", e.NIOSHPercent, 200, 1)
	near(t, "weekly", e.WeeklyPercent, 100*math.Exp2(8.0103/3), 0.1)
	near(t, "child weekly", e.ChildPercent, 100*math.Exp2(13.0103/3), 0.1)
	if e.EU != OverLimit || e.OverCeiling || !e.AtWork {
		t.Errorf("%+v", e)
	}
	// A player: an hour at 90 and 84 is 90.97 (reference value), 81.94 daily.
	p := Assess(Ear{MachineDBA: 90, HallDBA: 84, HoursPerDay: 1, DaysPerWeek: 1})
	near(t, "player", p.LevelDBA, 90.97, 0.01)
	near(t, "player daily", p.DailyDBA, 81.94, 0.01)
	if p.EU != LowerAction {
		t.Error(p.EU)
	}
	if s := Assess(Ear{MachineDBA: math.Inf(-1), HallDBA: 80, HoursPerDay: 8}); math.Abs(s.DailyDBA-80) > 1e-9 {
		t.Errorf("silent machine: %g", s.DailyDBA)
	}
}
