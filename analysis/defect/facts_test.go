package defect_test

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"

	"tachbench/analysis/defect"
	"tachbench/samples"
)

// factCase is a set of facts that must trip a rule or a near miss.
type factCase struct {
	rule, name string
	trips      bool
	check      func() []string // rules that tripped
}

func ids(fs []defect.Finding) []string {
	var out []string
	for _, f := range fs {
		out = append(out, f.Rule)
	}
	return out
}

func located(fs []defect.Located) []string {
	var out []string
	for _, f := range fs {
		out = append(out, f.Rule)
	}
	return out
}

var (
	none    defect.Options
	cabinet = defect.Machine{RateHz: 48000, BitDepth: 16, Channels: 2}
	plain   = samples.Info{Format: "wav", RateHz: 48000, BitDepth: 16, Channels: 2}
)

func format(change func(i *samples.Info)) func() []string {
	return func() []string {
		i := plain
		change(&i)
		return ids(defect.CheckFormat(i, cabinet))
	}
}

func names(paths ...string) func() []string {
	return func() []string { return located(defect.CheckNames(paths, none)) }
}

func loud(target float64, lufs ...float64) func() []string {
	return func() []string {
		var s []defect.Loud
		for i, v := range lufs {
			s = append(s, defect.Loud{Path: fmt.Sprint(i), LUFS: v})
		}
		o, _ := defect.NewOptions(defect.Callout, nil)
		return append(located(defect.CheckLoudness(s, target, o)), ids(defect.CheckSpread("callout", s, o))...)
	}
}

var factCases = []factCase{
	// EBU R 128: at most -1 dBTP.
	{"true-peak-over", "-0.9 dBTP", trips, func() []string { return ids(defect.CheckTruePeak([]defect.Peak{{DBTP: -0.9, AtS: 1}}, none)) }},
	{"true-peak-over", "-1.0 dBTP", passes, func() []string { return ids(defect.CheckTruePeak([]defect.Peak{{DBTP: -1}}, none)) }},
	{"true-peak-over", "silence", passes, func() []string {
		return ids(defect.CheckTruePeak([]defect.Peak{{DBTP: math.Inf(-1)}, {DBTP: math.NaN()}}, none))
	}},

	{"wrong-rate", "44.1 kHz", trips, format(func(i *samples.Info) { i.RateHz = 44100 })},
	{"wrong-rate", "48 kHz", passes, format(func(*samples.Info) {})},
	{"wrong-depth", "24 bit", trips, format(func(i *samples.Info) { i.BitDepth = 24 })},
	{"wrong-depth", "32-bit float", trips, format(func(i *samples.Info) { i.BitDepth, i.Float = 32, true })},
	{"wrong-depth", "ogg has none", passes, format(func(i *samples.Info) { i.BitDepth = 0 })},
	{"wrong-channels", "six", trips, format(func(i *samples.Info) { i.Channels = 6 })},
	{"wrong-channels", "mono on a stereo machine", passes, format(func(i *samples.Info) { i.Channels = 1 })},

	{"loudness-off-target", "1.2 LU over", trips, loud(-19, -17.8)},
	{"loudness-off-target", "1.0 LU over", passes, loud(-19, -18)},
	{"loudness-off-target", "far from the median", trips, loud(math.NaN(), -20, -20.5, -19.5, -12)},
	{"loudness-off-target", "too few for a median", passes, loud(math.NaN(), -20, -12)},
	{"loudness-off-target", "not measured", passes, loud(-19, math.NaN())},
	{"loudness-spread", "8 LU wide", trips, loud(-19, -15, -17, -19, -21, -23.5, -24)},
	{"loudness-spread", "5 LU wide", passes, loud(-19, -17, -18, -19, -21, -22)},
	{"loudness-spread", "two sounds", passes, loud(-19, -10, -30)},

	{"same-sound-twice", "equal content", trips, func() []string {
		return located(defect.CheckTwins([]defect.Twin{{"a.wav", "x"}, {"b.wav", "y"}, {"c.wav", "x"}}))
	}},
	{"same-sound-twice", "unknown content", passes, func() []string {
		return located(defect.CheckTwins([]defect.Twin{{"a.wav", ""}, {"b.wav", ""}, {"a.wav", "x"}, {"a.wav", "x"}}))
	}},

	{"name-collision", "case", trips, names("fx/Hit.wav", "fx/hit.wav")},
	{"name-collision", "case beyond ASCII", trips, names("Ölweg.wav", "ölweg.wav")},
	{"name-collision", "other folder", passes, names("fx/hit.wav", "music/hit.wav")},
	{"name-refused", "question mark", trips, names("what?.wav")},
	{"name-refused", "device", trips, names("sub/aux.wav")},
	{"name-refused", "trailing dot", trips, names("end.")},
	{"name-refused", "trailing space", trips, names("sub /a.wav")},
	{"name-refused", "control character", trips, names("a\tb.wav")},
	{"name-refused", "256 bytes", trips, names(strings.Repeat("a", 252) + ".wav")},
	{"name-refused", "255 bytes", passes, names(strings.Repeat("a", 251) + ".wav")},
	{"name-refused", "spaces, dots and a device inside a word", passes, names("my sound.v2.wav", "auxiliary.wav", "com10.wav")},
	{"name-not-plain", "umlaut", trips, names("glück.wav")},
	{"name-not-plain", "plain", passes, names("glueck.wav")},

	{"unused-file", "left over", trips, func() []string { return located(defect.CheckFolder([]string{"a.wav", "b.wav"}, []string{"a.wav"})) }},
	{"unused-file", "other spelling of the path", passes, func() []string { return located(defect.CheckFolder([]string{"fx/a.wav"}, []string{"./fx//a.wav"})) }},
	{"missing-file", "typing error", trips, func() []string { return located(defect.CheckFolder([]string{"a.wav"}, []string{"a.wav", "A.wav"})) }},
	{"missing-file", "there", passes, func() []string { return located(defect.CheckFolder([]string{"a.wav"}, []string{"a.wav", "a.wav"})) }},

	{"unreadable", "no sound", trips, func() []string { return ids([]defect.Finding{defect.Unreadable(errors.New("a.wav: not a sound"))}) }},
	{"unreadable", "cut", passes, func() []string { return ids([]defect.Finding{defect.Unreadable(&samples.TruncatedError{Got: 1})}) }},
	{"truncated", "cut", trips, func() []string {
		return ids([]defect.Finding{defect.Unreadable(fmt.Errorf("a.wav: %w", &samples.TruncatedError{Got: 1, Promised: 2}))})
	}},
	{"truncated", "no sound", passes, func() []string { return ids([]defect.Finding{defect.Unreadable(errors.New("x"))}) }},
	{"odd-header", "two remarks", trips, func() []string { return ids(defect.OddHeader([]string{"a", "b"})) }},
	{"odd-header", "none", passes, func() []string { return ids(defect.OddHeader(nil)) }},
}

func TestFactsTripAndPass(t *testing.T) {
	for _, c := range factCases {
		got := false
		rules := c.check()
		for _, r := range rules {
			got = got || r == c.rule
		}
		if got != c.trips {
			t.Errorf("%s/%s: found %v, want %v; all: %v", c.rule, c.name, got, c.trips, rules)
		}
	}
}

func TestEveryRuleHasBothKindsOfCase(t *testing.T) {
	have := map[string][2]bool{}
	note := func(rule string, trips bool) {
		h := have[rule]
		if trips {
			h[0] = true
		} else {
			h[1] = true
		}
		have[rule] = h
	}
	for _, c := range soundCases {
		note(c.rule, c.trips)
	}
	for _, c := range factCases {
		note(c.rule, c.trips)
	}
	for _, r := range defect.Rules() {
		if have[r.ID] != [2]bool{true, true} {
			t.Errorf("rule %s: trips %v, near miss %v", r.ID, have[r.ID][0], have[r.ID][1])
		}
		delete(have, r.ID)
	}
	for id := range have {
		t.Errorf("a case for %s, which is no rule", id)
	}
}

func TestTruePeakOfAllChannelsIsOneFinding(t *testing.T) {
	fs := defect.CheckTruePeak([]defect.Peak{{-0.5, 1}, {0.5, 2}}, none)
	if len(fs) != 1 || fs[0].Channel != -1 || fs[0].Value != 0.5 || fs[0].AtS != 2 {
		t.Errorf("got %+v", fs)
	}
	fs = defect.CheckTruePeak([]defect.Peak{{-0.5, 1}, {-3, 2}}, none)
	if len(fs) != 1 || fs[0].Channel != 0 {
		t.Errorf("got %+v", fs)
	}
}

// TestValueAndLimitReadDifferently: whoever reads a message must see that the
// value is over the limit, whatever the difference.
func TestValueAndLimitReadDifferently(t *testing.T) {
	zero, err := defect.NewOptions(defect.Other, map[string]float64{"true_peak_dbtp": 0})
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		peak float64
		opt  defect.Options
		want string
	}{
		{-0.5, none, "The true peak is -0.50 dBTP, the limit is -1.00 dBTP."},
		{-0.996, none, "The true peak is -0.996 dBTP, the limit is -1.000 dBTP."},
		{-0.004, none, "The true peak is 0.00 dBTP, the limit is -1.00 dBTP."},
		{0.4, zero, "The true peak is +0.40 dBTP, the limit is 0.00 dBTP."},
		{0.004, zero, "The true peak is +0.004 dBTP, the limit is 0.000 dBTP."},
	} {
		fs := defect.CheckTruePeak([]defect.Peak{{DBTP: c.peak}}, c.opt)
		if len(fs) != 1 || !strings.HasPrefix(fs[0].Message, c.want+" ") {
			t.Errorf("%g: %+v, want %s", c.peak, fs, c.want)
		}
	}
	// Each channel goes in at -3.01 dB, so the same tone on both gains as much:
	// 0.004 dB over full scale.
	u := mono(defect.Effect, 1, sine(200, math.Pow(10, 0.004/20)/math.Sqrt2)).stereo(1)
	found := false
	for _, f := range u.scan(1000) {
		if f.Rule == "fold-down-overload" {
			found = true
			if !strings.HasPrefix(f.Message, "Folded down to mono the peak is +0.00") || strings.Contains(f.Message, "is +0.00 dBFS") || !strings.Contains(f.Message, "the limit is 0.00") {
				t.Error(f.Message)
			}
		}
	}
	if !found {
		t.Error("no overload")
	}
	o, err := defect.NewOptions(defect.Callout, map[string]float64{"tolerance_lu": 0.26})
	if err != nil {
		t.Fatal(err)
	}
	if l := defect.CheckLoudness([]defect.Loud{{Path: "a", LUFS: -18.685}}, -19, o); len(l) != 1 || !strings.Contains(l[0].Message, "0.32 LU louder") && !strings.Contains(l[0].Message, "0.31 LU louder") || !strings.Contains(l[0].Message, "±0.26 LU") {
		t.Errorf("%+v", l)
	}
}

func TestMissingEntryNamesThePlace(t *testing.T) {
	f := defect.MissingEntry("s.toml:3:10 category.x.files[1]", `"a.wav" does not exist`)
	if f.Rule != "missing-file" || f.Severity != defect.Error || !strings.HasPrefix(f.Message, `At s.toml:3:10 category.x.files[1]: "a.wav" does not exist. The game`) {
		t.Errorf("%+v", f)
	}
	if f = defect.MissingEntry("p", `did you mean "b"?`); !strings.Contains(f.Message, `"b"? The`) {
		t.Error(f.Message)
	}
}

func TestMissingFileHintsAtCase(t *testing.T) {
	fs := defect.CheckFolder([]string{"Hit.wav"}, []string{"hit.wav"})
	if len(fs) != 2 || fs[1].Rule != "missing-file" || !strings.Contains(fs[1].Message, `"Hit.wav", which differs in case`) {
		t.Errorf("got %+v", fs)
	}
}

func TestTables(t *testing.T) {
	keys := map[string]bool{}
	for _, l := range defect.Limits() {
		if keys[l.Key] || l.What == "" || l.Source == "" || !(l.Min <= l.Default && l.Default <= l.Max) {
			t.Errorf("limit %+v", l)
		}
		keys[l.Key] = true
		for k, v := range l.ByKind {
			if v < l.Min || v > l.Max {
				t.Errorf("limit %s for %v: %g", l.Key, k, v)
			}
		}
	}
	used := map[string]bool{}
	seen := map[string]bool{}
	for _, r := range defect.Rules() {
		if seen[r.ID] || r.What == "" || !strings.HasSuffix(r.Why, ".") || !strings.HasSuffix(r.Do, ".") {
			t.Errorf("rule %+v", r)
		}
		seen[r.ID] = true
		for _, k := range r.Limits {
			if !keys[k] {
				t.Errorf("rule %s names limit %s, which is not in the table", r.ID, k)
			}
			used[k] = true
		}
	}
	for k := range keys {
		if !used[k] {
			t.Errorf("no rule uses limit %s", k)
		}
	}
}

func TestOverrides(t *testing.T) {
	o, err := defect.NewOptions(defect.Callout, map[string]float64{"lead_s": 0.2})
	if err != nil || o.Limit("lead_s") != 0.2 || o.Limit("tail_s") != 1 {
		t.Fatalf("%v %v", o, err)
	}
	if o, _ := defect.NewOptions(defect.Effect, nil); o.Limit("spread_lu") != 12 {
		t.Errorf("spread of effects %g", o.Limit("spread_lu"))
	}
	for _, c := range []struct {
		key   string
		v     float64
		wants string
	}{
		{"leed_s", 0.2, `unknown limit "leed_s"; did you mean "lead_s"?`},
		{"lead_s", -1, "limit lead_s = -1 is out of range; can be 0.001 to 10 s"},
		{"lead_s", math.NaN(), "limit lead_s = NaN is out of range; can be 0.001 to 10 s"},
	} {
		if _, err := defect.NewOptions(defect.Callout, map[string]float64{c.key: c.v}); err == nil || err.Error() != c.wants {
			t.Errorf("%s: %v, want %s", c.key, err, c.wants)
		}
	}
	late := func() take {
		d := decay(1)
		return mono(defect.Effect, 1, func(t float64) float64 { return d(max(t-0.06, 0)) }).round()
	}
	for limit, want := range map[float64]bool{0.05: true, 0.07: false} {
		u := late()
		u.over = map[string]float64{"lead_s": limit}
		got := false
		for _, f := range u.scan(1000) {
			got = got || f.Rule == "starts-late"
		}
		if got != want {
			t.Errorf("limit %g: found %v", limit, got)
		}
	}
}

func TestKindOf(t *testing.T) {
	for name, want := range map[string]defect.Kind{"callout": defect.Callout, "effect": defect.Effect, "music": defect.Music, "engine": defect.Engine, "winch": defect.Other, "": defect.Other} {
		if got := defect.KindOf(name); got != want {
			t.Errorf("%q: %v", name, got)
		}
	}
}
