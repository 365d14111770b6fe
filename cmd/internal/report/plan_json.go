package report

import (
	"math"

	"tachbench/analysis/exposure"
	"tachbench/analysis/sii"
	"tachbench/mixplan"
	"tachbench/mixplan/solve"
)

// PlanDocument is `tachbench plan --json`. testdata/plan.schema.json
// describes it; a key that is added has to be added there.
type PlanDocument struct {
	Version    int     `json:"version"`
	Title      string  `json:"title"`
	TargetSII  Number  `json:"target_sii"`
	Seed       uint64  `json:"seed"`
	Checked    *string `json:"checked_plan"` // its file; null if the plan was made here
	Understood int     `json:"understood"`   // callouts that reach the target
	Spoken     int     `json:"spoken"`       // callouts with speech

	Sounds      []PlanSound    `json:"sounds"`
	Ducking     []PlanDuck     `json:"ducking"`
	Callouts    []PlanCallout  `json:"callouts"`
	Mix         PlanMix        `json:"mix"`
	Headroom    PlanHeadroom   `json:"headroom"`
	Sensitivity []PlanShift    `json:"sensitivity"`
	Overlap     PlanOverlap    `json:"overlap"`
	Proof       PlanProof      `json:"proof"`
	Ear         PlanEar        `json:"ear"`
	Notes       []string       `json:"notes"`
	Written     []string       `json:"written"`
	AtEar       []PlanAtEar    `json:"at_ear"`
	Bands       map[string]any `json:"bands"`
}

// PlanSound is one sound and its trim; path is "engine" for the note.
type PlanSound struct {
	Path           string `json:"path"`
	Category       string `json:"category"`
	TrimDB         Number `json:"trim_db"`
	IntegratedLUFS Number `json:"integrated_lufs"` // as the file is
	TargetLUFS     Number `json:"target_lufs"`
	TruePeakDBTP   Number `json:"true_peak_dbtp"` // as the file is
	Why            string `json:"why"`
}

// PlanDuck is one category that yields.
type PlanDuck struct {
	Under       string `json:"under"`
	Category    string `json:"category"`
	DepthDB     Number `json:"depth_db"`
	AttackMS    Number `json:"attack_ms"`
	HoldMS      Number `json:"hold_ms"`
	ReleaseMS   Number `json:"release_ms"`
	LookaheadMS Number `json:"lookahead_ms"`
	DipLowHz    Number `json:"dip_low_hz"` // null: all frequencies
	DipHighHz   Number `json:"dip_high_hz"`
	LossDB      Number `json:"loudness_loss_db"`
	AloneDB     Number `json:"alone_db"` // depth that would do without the others; null if none
	MostDB      Number `json:"most_db"`
}

// PlanCallout is what becomes of a callout. The indices are those it reaches
// in nine of ten meetings.
type PlanCallout struct {
	Path          string        `json:"path"`
	SIIPlain      Number        `json:"sii_plain"`
	SIIPlanned    Number        `json:"sii_planned"`
	FramesPlain   Number        `json:"sii_frames_p10_plain"` // over the moments of all meetings
	FramesPlanned Number        `json:"sii_frames_p10_planned"`
	WeakestAtS    Number        `json:"weakest_at_s"` // from its first sample; null without speech
	WeakestBelow  Number        `json:"weakest_below_sii"`
	Importance    string        `json:"importance"` // function of ANSI S3.5 that bands are weighted with
	LimitedBy     string        `json:"limited_by"`
	Judged        *string       `json:"judged"` // null without speech
	Sentence      string        `json:"sentence"`
	ActiveS       [][2]Number   `json:"active_s"` // when others yield to it, seconds from its first sample
	WorstPlain    Number        `json:"worst_plain"`
	WorstPlanned  Number        `json:"worst_planned"`
	WorstWith     string        `json:"worst_with"`
	MedianPlain   Number        `json:"median_plain"`
	MedianPlanned Number        `json:"median_planned"`
	HallAlone     Number        `json:"sii_hall_alone"`
	ActiveDBA     Number        `json:"level_at_ear_dba"`
	RaiseDB       Number        `json:"raise_db"` // more level that would do; null if none helps
	RoomDB        Number        `json:"room_db"`  // what its peaks leave
	ByRPM         []PlanStep    `json:"by_rpm"`
	Against       []PlanAgainst `json:"against"`
}

// PlanStep is a callout at one step of the revs, among everything else.
type PlanStep struct {
	RPM        Number `json:"rpm"`
	SIIPlain   Number `json:"sii_plain"`
	SIIPlanned Number `json:"sii_planned"`
}

// PlanAgainst is a callout over the hall and one sound alone.
type PlanAgainst struct {
	Category   string `json:"category"`
	Path       string `json:"path"`
	SIIPlain   Number `json:"sii_plain"`
	SIIPlanned Number `json:"sii_planned"`
}

// PlanMix is the scenes of the proof, one after the other.
type PlanMix struct {
	TruePeakDBTP        Number `json:"true_peak_dbtp"`
	IntegratedLUFS      Number `json:"integrated_lufs"`
	PlainTruePeakDBTP   Number `json:"plain_true_peak_dbtp"`
	PlainIntegratedLUFS Number `json:"plain_integrated_lufs"`
	BusGainDB           Number `json:"bus_gain_db"`
}

// PlanHeadroom is the simulated play.
type PlanHeadroom struct {
	Minutes        int            `json:"minutes"`
	AllowedPerHour Number         `json:"allowed_overruns_per_hour"`
	PerHour        Number         `json:"overruns_per_hour"`
	LowPerHour     Number         `json:"low_per_hour"` // exact 95 % interval
	HighPerHour    Number         `json:"high_per_hour"`
	Curve          []PlanOverruns `json:"curve"`
	Rates          []PlanRate     `json:"rates"`
}

// PlanOverruns is one point of the headroom curve.
type PlanOverruns struct {
	GainDB  Number `json:"gain_db"`
	PerHour Number `json:"overruns_per_hour"`
}

// PlanRate is how often a category was played.
type PlanRate struct {
	Category string `json:"category"`
	PerMin   Number `json:"per_min"`
	From     string `json:"from"`
}

// PlanShift is how the answer moves.
type PlanShift struct {
	What       string      `json:"what"`
	HallDB     Number      `json:"hall_db"`
	CalloutDB  Number      `json:"callout_db"`
	Understood int         `json:"understood"`
	Lowest     Number      `json:"lowest_sii"`
	Depths     []PlanDepth `json:"own_plan"`
	Enough     *bool       `json:"own_plan_enough"`
}

// PlanDepth is a depth another plan would have.
type PlanDepth struct {
	Category string `json:"category"`
	DepthDB  Number `json:"depth_db"`
}

// PlanOverlap is the matrix of clashes.
type PlanOverlap struct {
	Groups []string   `json:"groups"`
	Shape  [][]Number `json:"shape"`
	Masks  [][]Number `json:"masks"` // row masks column
}

// PlanProof is the plan measured on renders.
type PlanProof struct {
	Holds      bool         `json:"holds"`
	Scenes     []string     `json:"scenes"`
	WorstSII   Number       `json:"worst_sii_difference"`
	WorstLevel Number       `json:"worst_level_difference_db"`
	Callouts   []PlanProven `json:"callouts"`
}

// PlanProven is a callout in a rendered scene.
type PlanProven struct {
	Scene    string `json:"scene"`
	Path     string `json:"path"`
	AtS      Number `json:"at_s"`
	Plain    Number `json:"sii_plain_measured"`
	Promised Number `json:"sii_promised"`
	Measured Number `json:"sii_measured"`
	LevelDB  Number `json:"level_difference_db"`
	LevelOf  string `json:"level_difference_of"` // the category
}

// PlanEar is the level at the ear, estimated.
type PlanEar struct {
	MachineDBA Number `json:"machine_dba"`
	HallDBA    Number `json:"hall_dba"`
	CalloutDBA Number `json:"loudest_callout_dba"`
	PlayerDBA  Number `json:"player_daily_dba"`
	StaffDBA   Number `json:"staff_daily_dba"`
	StaffEU    string `json:"staff_eu"`
	Caution    string `json:"caution"`
}

// PlanAtEar is the level of every sound at the ear with the plan's trims.
type PlanAtEar struct {
	Path       string   `json:"path"`
	LevelDB    Number   `json:"level_db"`
	LevelDBA   Number   `json:"level_dba"`
	ThirdOctDB []Number `json:"third_octave_db"` // 20 Hz .. 20 kHz
}

// NewPlanDocument puts a plan's report into the document's shape.
func NewPlanDocument(r *solve.Report, written []string) PlanDocument {
	d := PlanDocument{
		Version: Version, Title: r.Sheet.Title, TargetSII: Round(r.Target, 3), Seed: r.SeedGiven,
		Sounds: []PlanSound{}, Ducking: []PlanDuck{}, Callouts: []PlanCallout{}, Sensitivity: []PlanShift{},
		Notes: orEmpty(r.Notes), Written: orEmpty(written), AtEar: []PlanAtEar{},
		Bands: map[string]any{"clear": sii.ClearFrom, "understood": sii.UnderstoodFrom, "guessable": sii.GuessableFrom},
	}
	if !r.Made {
		d.Checked = &r.Plan.File
	}
	d.Understood, d.Spoken = PlanCount(r)
	for _, t := range r.Trims {
		s := PlanSound{t.Path, t.Category, Round(t.TrimDB, 2), Round(t.LUFS, 2), Round(t.Target, 2), Round(t.PeakDBTP, 2), t.Why}
		if s.Path == "" {
			s.Path = mixplan.Engine
		}
		d.Sounds = append(d.Sounds, s)
	}
	for _, k := range r.Plan.Ducks {
		d.Ducking = append(d.Ducking, planDuck(r, k))
	}
	rpm := PlanRPM(r)
	for i := range r.Callouts {
		d.Callouts = append(d.Callouts, planCallout(&r.Callouts[i], rpm))
	}
	d.Mix = PlanMix{Round(r.Proof.Planned.TruePeakDBTP, 2), Round(r.Proof.Planned.IntegratedLUFS, 2),
		Round(r.Proof.Plain.TruePeakDBTP, 2), Round(r.Proof.Plain.IntegratedLUFS, 2), Round(r.Plan.BusGainDB, 2)}
	d.Headroom = planHeadroom(r)
	for _, s := range r.Shifts {
		out := PlanShift{s.What, Number(s.HallDB), Number(s.CalloutDB), s.Understood, Round(s.Lowest, 3), []PlanDepth{}, nil}
		for b, v := range s.Depths {
			out.Depths = append(out.Depths, PlanDepth{r.Pairs[b].Category, Round(v, 1)})
		}
		if s.Depths != nil {
			out.Enough = &s.Enough
		}
		d.Sensitivity = append(d.Sensitivity, out)
	}
	d.Overlap = PlanOverlap{Groups: r.Clashes.Groups, Shape: [][]Number{}, Masks: [][]Number{}}
	for _, row := range r.Clashes.Matrix {
		var shape, masks []Number
		for _, c := range row {
			shape, masks = append(shape, Round(c.Shape, 3)), append(masks, Round(c.Masks, 3))
		}
		d.Overlap.Shape, d.Overlap.Masks = append(d.Overlap.Shape, shape), append(d.Overlap.Masks, masks)
	}
	d.Proof = planProof(r.Proof)
	h := r.Hearing
	d.Ear = PlanEar{Round(h.MachineDBA, 1), Round(h.HallDBA, 1), Round(h.CalloutDBA, 1), Round(h.Player.DailyDBA, 1), Round(h.Staff.DailyDBA, 1), h.Staff.EU.String(), exposure.Caution}
	planAtEar(r, &d)
	return d
}

// PlanCount returns how many callouts reach the target, of how many that
// speak.
func PlanCount(r *solve.Report) (understood, spoken int) {
	for _, c := range r.Callouts {
		if math.IsNaN(c.Planned.P10) {
			continue
		}
		if spoken++; c.LimitedBy == solve.LimitNone {
			understood++
		}
	}
	return understood, spoken
}

// PlanRPM returns the steps of the engine's revs, nil without engine.
func PlanRPM(r *solve.Report) []float64 { return r.Package.StepsRPM() }

func planDuck(r *solve.Report, k mixplan.Duck) PlanDuck {
	nan := Number(math.NaN())
	out := PlanDuck{k.Under, k.Category, Round(k.DepthDB, 2), Round(k.AttackMS, 1), Round(k.HoldMS, 1), Round(k.ReleaseMS, 1), Round(k.LookaheadMS, 1), nan, nan, nan, nan, nan}
	if k.Dip != nil {
		out.DipLowHz, out.DipHighHz = Round(k.Dip.LowHz, 1), Round(k.Dip.HighHz, 1)
	}
	for _, q := range r.Pairs {
		if q.Category == k.Category && k.Under == "callout" {
			out.LossDB, out.AloneDB, out.MostDB = Round(q.LossDB, 2), Round(q.AloneDB, 1), Round(q.MostDB, 1)
		}
	}
	return out
}

func planCallout(c *solve.Outcome, rpm []float64) PlanCallout {
	out := PlanCallout{
		Path: c.Sound.Path, SIIPlain: Round(c.Plain.P10, 3), SIIPlanned: Round(c.Planned.P10, 3), LimitedBy: c.LimitedBy,
		FramesPlain: Round(c.WeakPlain, 3), FramesPlanned: Round(c.WeakPlanned, 3), WeakestAtS: Round(c.WeakestAtS, 3), WeakestBelow: Round(c.WeakestBelow, 3),
		Sentence: c.Sentence, Importance: c.Sound.Importance().Name,
		WorstPlain: Round(c.Plain.Worst, 3), WorstPlanned: Round(c.Planned.Worst, 3), WorstWith: c.WorstWith,
		MedianPlain: Round(c.Plain.Median, 3), MedianPlanned: Round(c.Planned.Median, 3), HallAlone: Round(c.Hall, 3),
		ActiveDBA: Round(c.Sound.ActiveDBA, 1), RaiseDB: Round(c.RaiseDB, 1), RoomDB: Round(c.RoomDB, 1),
		ActiveS: [][2]Number{}, ByRPM: []PlanStep{}, Against: []PlanAgainst{},
	}
	for _, a := range c.Sound.Spans {
		out.ActiveS = append(out.ActiveS, [2]Number{Round(a.FromS, 3), Round(a.ToS, 3)})
	}
	if !math.IsNaN(c.Planned.P10) {
		word := sii.Judge(c.Planned.P10).String()
		out.Judged = &word
	}
	for i, v := range rpm {
		out.ByRPM = append(out.ByRPM, PlanStep{Round(v, 0), Round(c.StepsPlain[i], 3), Round(c.StepsPlanned[i], 3)})
	}
	for _, a := range c.Against {
		out.Against = append(out.Against, PlanAgainst{a.Category, a.Path, Round(a.Plain, 3), Round(a.Planned, 3)})
	}
	return out
}

func planHeadroom(r *solve.Report) PlanHeadroom {
	o := r.WithPlan
	out := PlanHeadroom{Minutes: r.Headroom.Minutes, AllowedPerHour: Round(r.Allowed, 2), PerHour: Round(o.PerHour, 1),
		LowPerHour: Round(o.LoPerHour, 1), HighPerHour: Round(o.HiPerHour, 1), Curve: []PlanOverruns{}, Rates: []PlanRate{}}
	for _, c := range PlanHeadroomCurve(r) {
		out.Curve = append(out.Curve, PlanOverruns{Round(c.GainDB, 1), Round(c.PerHour, 1)})
	}
	for _, v := range r.Headroom.Rates {
		rate := PlanRate{v.Category, Round(v.PerMin, 2), v.From}
		if v.From == "always" {
			rate.PerMin = Number(math.NaN())
		}
		out.Rates = append(out.Rates, rate)
	}
	return out
}

// GainPoint is one point of the headroom curve.
type GainPoint struct{ GainDB, PerHour float64 }

// PlanHeadroomCurve gives overruns an hour for gains from +3 to -9 dB.
func PlanHeadroomCurve(r *solve.Report) []GainPoint {
	var out []GainPoint
	for half := 6; half >= -18; half-- {
		g := float64(half) / 2
		out = append(out, GainPoint{g, r.Headroom.At(g).PerHour})
	}
	return out
}

func planProof(p *solve.Proof) PlanProof {
	out := PlanProof{Holds: p.Holds(), Scenes: orEmpty(p.Scenes), Callouts: []PlanProven{}}
	worst, level := 0.0, 0.0
	for _, c := range p.Callouts {
		worst, level = math.Max(worst, math.Abs(c.Measured-c.Promised)), math.Max(level, math.Abs(c.WorstLevelDB))
		out.Callouts = append(out.Callouts, PlanProven{c.Scene, c.Path, Round(c.AtS, 3), Round(c.Plain, 3), Round(c.Promised, 3), Round(c.Measured, 3), Round(c.WorstLevelDB, 2), c.WorstLevelOf})
	}
	if len(p.Callouts) == 0 {
		worst, level = math.NaN(), math.NaN()
	}
	out.WorstSII, out.WorstLevel = Round(worst, 4), Round(level, 3)
	return out
}

func planAtEar(r *solve.Report, d *PlanDocument) {
	add := func(name string, l interface {
		DB() float64
		DBA() float64
	}, bands []float64) {
		e := PlanAtEar{Path: name, LevelDB: Round(l.DB(), 1), LevelDBA: Round(l.DBA(), 1), ThirdOctDB: []Number{}}
		for _, v := range bands {
			e.ThirdOctDB = append(e.ThirdOctDB, Round(v, 1))
		}
		d.AtEar = append(d.AtEar, e)
	}
	hall, pink := r.Package.Chain.Hall, r.Package.Chain.PinkAtEar()
	add("hall", hall, hall[:])
	add("pink noise at -20 dBFS RMS", pink, pink[:])
	for _, s := range r.Package.Callouts {
		add(s.Path, s.Long, s.Long[:])
	}
	for _, b := range r.Package.Buses {
		for _, s := range b.Sounds {
			add(s.Path, s.Long, s.Long[:])
		}
	}
}
