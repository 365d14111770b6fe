package mixplan

import (
	"errors"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	"tachbench/samples/sheet"
)

const whole = `title = "Snow Depot"
bus_gain_db = -1.5
[priority]
callout = 3
"odd name" = 1
[[trim]]
path = "callouts/a.wav"
category = "callout"
trim_db = 1.5
[[trim]]
category = "engine"
trim_db = -3
[[ducking]]
under = "callout"
category = "music"
depth_db = 7.5
attack_ms = 60
hold_ms = 250
release_ms = 500
lookahead_ms = 60
dip_low_hz = 500
dip_high_hz = 4000
[[ducking]]
under = "callout"
category = "engine"
depth_db = 6
attack_ms = 120
hold_ms = 250
release_ms = 600
`

func wholePlan() *Plan {
	return &Plan{
		Title: "Snow Depot", BusGainDB: -1.5,
		Priorities: []Priority{{"callout", 3}, {"odd name", 1}},
		Trims:      []Trim{{Path: "callouts/a.wav", Category: "callout", TrimDB: 1.5}, {Category: "engine", TrimDB: -3}},
		Ducks: []Duck{
			{Under: "callout", Category: "music", DepthDB: 7.5, AttackMS: 60, HoldMS: 250, ReleaseMS: 500, LookaheadMS: 60, Dip: &Dip{500, 4000}},
			{Under: "callout", Category: "engine", DepthDB: 6, AttackMS: 120, HoldMS: 250, ReleaseMS: 600},
		},
	}
}

// bareOf is a plan without what belongs to its file.
func bareOf(p *Plan) *Plan {
	q := *p
	q.File, q.at = "", nil
	return &q
}

func TestParseReadsAPlan(t *testing.T) {
	p, err := Parse("plan.toml", []byte(whole))
	if err != nil {
		t.Fatal(err)
	}
	if got := bareOf(p); !reflect.DeepEqual(got, wholePlan()) {
		t.Errorf("got %+v", got)
	}
	for _, k := range []struct {
		category, path string
		want           float64
	}{{"callout", "callouts/a.wav", 1.5}, {"callout", "callouts/b.wav", 0}, {"engine", "curves/x.csv", -3}, {"music", "", 0}} {
		if got := p.TrimDB(k.category, k.path); got != k.want {
			t.Errorf("trim of %s %s: %g dB, want %g", k.category, k.path, got, k.want)
		}
	}
	if d := p.Yielding("engine"); len(d) != 1 || d[0].DepthDB != 6 {
		t.Errorf("engine yields %+v", d)
	}
	if _, err := Parse("empty.toml", nil); err != nil {
		t.Errorf("an empty plan: %v", err)
	}
}

func TestFormatIsReadBackAndGivesReasons(t *testing.T) {
	p := wholePlan()
	p.BusGainWhy = "the loudest meeting\nreaches\x01+0.5 dBTP"
	p.Trims[0].Why = "callouts sit at -19 LUFS, this one at -20.5"
	p.Ducks[0].Why = map[string]string{"depth_db": "SII 0.31 to 0.52"}
	text := Format(p)
	for _, want := range []string{
		"bus_gain_db = -1.5  # the loudest meeting reaches +0.5 dBTP\n",
		"trim_db = 1.5  # callouts sit at -19 LUFS, this one at -20.5\n",
		"depth_db = 7.5  # SII 0.31 to 0.52\n",
		"under = \"callout\"  # while this category speaks\n",
	} {
		if !strings.Contains(string(text), want) {
			t.Errorf("missing %q in\n%s", want, text)
		}
	}
	q, err := Parse("plan.toml", text)
	if err != nil {
		t.Fatalf("%v\n%s", err, text)
	}
	if !reflect.DeepEqual(bareOf(q), wholePlan()) {
		t.Errorf("read back as %+v", bareOf(q))
	}
}

func TestParseSaysWhatIsWrongAndWhere(t *testing.T) {
	edit := func(old, with string) string {
		if !strings.Contains(whole, old) {
			t.Fatalf("%q is not in the plan", old)
		}
		return strings.Replace(whole, old, with, 1)
	}
	for _, c := range []struct{ text, want string }{
		{edit("depth_db = 7.5", "depth = 7.5\ndepth_db = 7.5"), "p.toml:16:1: ducking[1].depth: unknown key; known here: under, category, depth_db, attack_ms, hold_ms, release_ms, lookahead_ms, dip_low_hz, dip_high_hz"},
		{edit("depth_db = 7.5", `depth_db = "much"`), `p.toml:16:1: ducking[1].depth_db: must be a number, not the text "much"`},
		{edit("depth_db = 7.5", "depth_db = 19"), "p.toml:16:1: ducking[1].depth_db: must be 0 to 18 dB, not 19"},
		{edit("depth_db = 7.5", "depth_db = nan"), "p.toml:16:1: ducking[1].depth_db: must be a finite number, not NaN"},
		{edit("depth_db = 6", "depth_db = 9.5"), "p.toml:26:1: ducking[2].depth_db: must be at most 9 dB for the engine, not 9.5; the player steers by it"},
		{edit("attack_ms = 60", "attack_ms = 30"), "p.toml:17:1: ducking[1].attack_ms: must be at least 38 for a depth of 7.5 dB, not 30; over 200 dB/s it is heard as a step"},
		{edit("attack_ms = 120", "attack_ms = 50"), "p.toml:27:1: ducking[2].attack_ms: must be at least 60 for a depth of 6 dB, not 50; over 100 dB/s it is heard as a step"},
		{edit("release_ms = 500", "release_ms = 100"), "p.toml:19:1: ducking[1].release_ms: must be at least 125 for a depth of 7.5 dB, not 100; over 60 dB/s it pumps"},
		{edit("dip_high_hz = 4000\n", ""), "p.toml:21:1: ducking[1].dip_low_hz: needs dip_high_hz beside it; a dip has two edges"},
		{edit("dip_high_hz = 4000", "dip_high_hz = 510"), "p.toml:22:1: ducking[1].dip_high_hz: must be at least 1.2 times dip_low_hz (500), not 510"},
		{edit(`category = "music"`, `category = "callout"`), `p.toml:15:1: ducking[1].category: must not be "callout" itself; a category cannot yield to itself`},
		{edit(`category = "engine"
depth`, `category = "music"
depth`), "p.toml:23:3: ducking[2]: music under callout is ducking[1] already; keep one of the two"},
		{edit("hold_ms = 250\n", ""), "p.toml:13:3: ducking[1].hold_ms: missing; must be a number"},
		{edit("callout = 3", "callout = 3.5"), "p.toml:4:1: priority.callout: must be a whole number, 0 to 100, not 3.5"},
		{edit(`"odd name" = 1`, `"odd name" = 101`), `p.toml:5:1: priority."odd name": must be a whole number, 0 to 100, not 101`},
		{edit("trim_db = -3", "trim_db = -61"), "p.toml:12:1: trim[2].trim_db: must be -60 to 24 dB, not -61"},
		{edit("bus_gain_db = -1.5", "bus_gain_db = true"), "p.toml:2:1: bus_gain_db: must be a number, not true"},
		{edit("[[ducking]]", "[ducking]"), "p.toml:"},
		{"trim = 3", "p.toml:1:1: trim: must be a list of tables, not 3; write [[trim]]"},
		{"a = ", "p.toml:1:"},
		{"title = \"\xff\"", "p.toml:1:10: this byte is not UTF-8 text; save the plan as UTF-8"},
	} {
		p, err := Parse("p.toml", []byte(c.text))
		var errs sheet.Errors
		if p != nil || !errors.As(err, &errs) {
			t.Errorf("want %s, got %v", c.want, err)
			continue
		}
		if got := errs[0].Error(); got != c.want && (len(c.want) > 12 || !strings.HasPrefix(got, c.want)) {
			t.Errorf("got  %s\nwant %s", got, c.want)
		}
	}
}

func TestOverlappingDipsOfOneCategory(t *testing.T) {
	text := whole + "[[ducking]]\nunder = \"effect\"\ncategory = \"music\"\ndepth_db = 3\nattack_ms = 60\nhold_ms = 0\nrelease_ms = 500\ndip_low_hz = 3000\ndip_high_hz = 6000\n"
	_, err := Parse("p.toml", []byte(text))
	if err == nil || err.Error() != "p.toml:37:1: ducking[3].dip_low_hz: this band overlaps that of ducking[1]; dips of one category share a band or lie apart" {
		t.Errorf("got %v", err)
	}
	if _, err := Parse("p.toml", []byte(strings.Replace(text, "= 3000", "= 4000", 1))); err != nil {
		t.Errorf("bands that touch: %v", err)
	}
}

func TestValidateIsForPlansThatWereComputed(t *testing.T) {
	d := wholePlan().Ducks[0]
	if err := d.Validate(); err != nil {
		t.Error(err)
	}
	for _, f := range []func(*Duck){
		func(d *Duck) { d.DepthDB = math.NaN() }, func(d *Duck) { d.DepthDB = -1 }, func(d *Duck) { d.AttackMS = math.Inf(1) },
		func(d *Duck) { d.ReleaseMS = 0 }, func(d *Duck) { d.LookaheadMS = -1 }, func(d *Duck) { d.Dip = &Dip{math.NaN(), 100} },
	} {
		e := d
		f(&e)
		if e.Validate() == nil {
			t.Errorf("accepted %+v", e)
		}
	}
}

func TestFitHoldsThePlanAgainstTheSheet(t *testing.T) {
	dir := t.TempDir()
	for _, name := range []string{"a.wav", "b.wav", "m.wav"} {
		if err := os.WriteFile(filepath.Join(dir, name), nil, 0o666); err != nil {
			t.Fatal(err)
		}
	}
	sh, err := sheet.Parse("s.toml", []byte(`sample_rate = 8000
bit_depth = 16
[category.callout]
files = ["a.wav", "b.wav"]
priority = 3
[category.music]
files = ["m.wav"]
priority = 1
`), dir)
	if err != nil {
		t.Fatal(err)
	}
	const duck = "[[ducking]]\nunder = \"callout\"\ncategory = \"music\"\ndepth_db = 3\nattack_ms = 60\nhold_ms = 0\nrelease_ms = 500\n"
	for _, c := range []struct{ text, want string }{
		{"", ""},
		{duck + "dip_low_hz = 500\ndip_high_hz = 3600\n", ""},
		{duck + "dip_low_hz = 500\ndip_high_hz = 3700\n", "p.toml:9:1: ducking[1].dip_high_hz: must be at most 3600 Hz at a sample rate of 8000 Hz, not 3700"},
		{strings.Replace(duck, "callout", "voice", 1), `p.toml:2:1: ducking[1].under: "voice" is no category of s.toml; it has callout, music`},
		{strings.Replace(duck, "music", "engine", 1), `p.toml:3:1: ducking[1].category: "engine" is no category of s.toml; it has callout, music`},
		{"[priority]\ncallout = 0\n" + duck, "p.toml:5:1: ducking[1].category: music (priority 1) would yield to callout (priority 0); the higher priority wins"},
		{"[priority]\nvoice = 0\n", `p.toml:2:1: priority.voice: "voice" is no category of s.toml; it has callout, music`},
		{"[[trim]]\npath = \"c.wav\"\ncategory = \"callout\"\ntrim_db = 1\n", `p.toml:2:1: trim[1].path: "c.wav" is in no category of s.toml`},
		{"[[trim]]\npath = \"m.wav\"\ncategory = \"callout\"\ntrim_db = 1\n", `p.toml:3:1: trim[1].category: "m.wav" belongs to category "music", not "callout"`},
	} {
		p, err := Parse("p.toml", []byte(c.text))
		if err != nil {
			t.Fatal(err)
		}
		got := ""
		if err := p.Fit(sh); err != nil {
			got = err.Error()
		}
		if got != c.want {
			t.Errorf("got  %s\nwant %s", got, c.want)
		}
	}
}

// Whatever is read is within the limits, can be written, and is then read as
// the same; whatever is refused says where, each on one line.
func FuzzParse(f *testing.F) {
	f.Add(whole)
	f.Add("trim = [{category = \"a\", trim_db = 1}]\n")
	f.Add("[priority]\n\"a.b\\\"c\" = 3\nx = 1979-05-27\n")
	f.Add("[[ducking]]\n[[ducking.x]]\n[ducking.x.y]\n")
	f.Fuzz(func(t *testing.T, text string) {
		p, err := Parse("p.toml", []byte(text))
		if err != nil {
			var errs sheet.Errors
			if !errors.As(err, &errs) || len(errs) == 0 {
				t.Fatalf("error %T", err)
			}
			for _, e := range errs {
				if e.Line < 1 || e.Col < 1 || strings.Contains(e.Error(), "\n") {
					t.Fatalf("%+v", e)
				}
			}
			return
		}
		for _, d := range p.Ducks {
			if err := d.Validate(); err != nil {
				t.Fatal(err)
			}
		}
		q, err := Parse("p.toml", Format(p))
		if err != nil {
			t.Fatalf("%v\n%s", err, Format(p))
		}
		if !reflect.DeepEqual(bareOf(p), bareOf(q)) {
			t.Fatalf("%+v became %+v", bareOf(p), bareOf(q))
		}
	})
}
