package planpage_test

import (
	"bytes"
	"context"
	"encoding/json"
	"encoding/xml"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"

	"tachbench/cmd/internal/planpage"
	"tachbench/cmd/internal/report"
	"tachbench/mixplan/meet"
	"tachbench/mixplan/solve"
	"tachbench/samples"
	"tachbench/samples/file"
	"tachbench/samples/sheet"
	"tachbench/samples/tone"
	"tachbench/samples/wav"
)

const text = `title = "Te<st & co"
sample_rate = 16000
bit_depth = 16
[category.callout]
files = ["go.wav", "silent.wav"]
[category.effect]
files = ["bang.wav"]
[category.music]
files = ["bed.wav"]
target_lufs = -24
[listening]
level_at_ear_db = 84
noise_dba = 66
speaker_low_cut_hz = 120
`

// small runs a package without an engine.
func small(t *testing.T) *solve.Report {
	t.Helper()
	dir := t.TempDir()
	for name, s := range map[string]*samples.Sound{
		"go":     tone.Pink(16000, 1.2, 0.08, 1),
		"silent": samples.NewSound(16000, 1, 16000),
		"bang":   tone.White(16000, 1, 0.6, 0.1, 2),
		"bed":    tone.Pink(16000, 9, 0.1, 3),
	} {
		if err := file.WriteSound(filepath.Join(dir, name+".wav"), s, wav.SpecOf(s, 16), false); err != nil {
			t.Fatal(err)
		}
	}
	path := filepath.Join(dir, "soundsheet.toml")
	if err := os.WriteFile(path, []byte(text), 0o666); err != nil {
		t.Fatal(err)
	}
	sh, err := sheet.Load(path)
	if err != nil {
		t.Fatal(err)
	}
	r, err := solve.Run(context.Background(), solve.Job{Sheet: sh, Seed: 1})
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func TestPageStandsAlone(t *testing.T) {
	r := small(t)
	var a, b bytes.Buffer
	if err := planpage.Write(&a, r); err != nil {
		t.Fatal(err)
	}
	if err := planpage.Write(&b, r); err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(a.Bytes(), b.Bytes()) {
		t.Error("two pages of one report differ")
	}
	page := a.String()
	for _, bad := range []string{"<script", "http:", "https:", "@import", "url(", "NaN", "Inf", "ZgotmplZ", "<no value>"} {
		if strings.Contains(page, bad) {
			t.Errorf("the page holds %q", bad)
		}
	}
	for _, want := range []string{"Te&lt;st &amp; co", "go.wav", "There is no speech in it", "Only a calibrated sound level meter", `id="headroom"`} {
		if !strings.Contains(page, want) {
			t.Errorf("the page lacks %q", want)
		}
	}
	if n := len(regexp.MustCompile(`One moment in ten is at or under 0\.\d\d \(0\.\d\d without the plan\); no place in it stands out\.`).FindAllString(page, -1)); n != 1 {
		t.Errorf("%d callouts have a weakest tenth, not the one that speaks", n)
	}
	if strings.Contains(page, `id="map"`) {
		t.Error("a map over revs without an engine")
	}
	// A place is named if it is lower than chance.
	r.Callouts[0].WeakestAtS, r.Callouts[0].WeakestBelow = 0.736, 0.2
	var named bytes.Buffer
	if err := planpage.Write(&named, r); err != nil || !strings.Contains(named.String(), "without the plan); least is understood at 0.74 s.") {
		t.Errorf("the weakest place is not named (%v)", err)
	}
	// Every SVG is well-formed and says what it shows.
	for _, svg := range regexp.MustCompile(`(?s)<svg.*?</svg>`).FindAllString(page, -1) {
		d := xml.NewDecoder(strings.NewReader(svg))
		for {
			if _, err := d.Token(); err == io.EOF {
				break
			} else if err != nil {
				t.Fatalf("%v in %.200s", err, svg)
			}
		}
		if !strings.Contains(svg, "aria-hidden") && !strings.Contains(svg, "<title") {
			t.Errorf("no title: %.100s", svg)
		}
	}
	// No word or number is drawn inside a stretched field, and every link
	// within the page leads somewhere.
	if strings.Contains(page, "<text") {
		t.Error("text in a stretched chart")
	}
	for _, m := range regexp.MustCompile(`href="#([^"]+)"`).FindAllStringSubmatch(page, -1) {
		if !strings.Contains(page, `id="`+m[1]+`"`) {
			t.Errorf("link to #%s leads nowhere", m[1])
		}
	}
}

// The keys of the contract, written out again on purpose.
func TestDocument(t *testing.T) {
	var b bytes.Buffer
	if err := report.WriteJSON(&b, report.NewPlanDocument(small(t), nil)); err != nil {
		t.Fatal(err)
	}
	var d map[string]any
	if err := json.Unmarshal(b.Bytes(), &d); err != nil {
		t.Fatal(err)
	}
	for list, keys := range map[string][]string{
		"sounds":   {"path", "category", "trim_db"},
		"ducking":  {"under", "category", "depth_db", "attack_ms", "hold_ms", "release_ms"},
		"callouts": {"path", "sii_plain", "sii_planned", "limited_by"},
	} {
		entries, _ := d[list].([]any)
		if len(entries) == 0 {
			t.Errorf("%s is empty", list)
		}
		for _, e := range entries {
			for _, k := range keys {
				if _, ok := e.(map[string]any)[k]; !ok {
					t.Errorf("%s lacks %s", list, k)
				}
			}
		}
	}
	mix := d["mix"].(map[string]any)
	for _, k := range []string{"true_peak_dbtp", "integrated_lufs"} {
		if _, ok := mix[k].(float64); !ok {
			t.Errorf("mix.%s is %v", k, mix[k])
		}
	}
	silent := d["callouts"].([]any)[1].(map[string]any)
	for _, k := range []string{"sii_frames_p10_plain", "sii_frames_p10_planned", "weakest_at_s", "weakest_below_sii"} {
		if v, ok := silent[k]; v != nil || !ok {
			t.Errorf("%s of a silent callout: %v", k, v)
		}
		if v, ok := d["callouts"].([]any)[0].(map[string]any)[k].(float64); !ok || v < 0 || v > 1.2 {
			t.Errorf("%s: %v", k, v)
		}
	}
	if silent["sii_planned"] != nil || silent["judged"] != nil {
		t.Errorf("a silent callout has an index: %v", silent)
	}
	if v := d["callouts"].([]any)[0].(map[string]any)["active_s"].([]any); len(v) != 1 || v[0].([]any)[0] != 0.0 || v[0].([]any)[1] != 1.2 {
		t.Errorf("1.2 s of noise speak at %v", v)
	}
	limits := []string{"none", "hall", "headroom", "depth"}
	for _, c := range d["callouts"].([]any) {
		if !slices.Contains(limits, c.(map[string]any)["limited_by"].(string)) {
			t.Errorf("limited_by %v", c)
		}
	}
}

// The document keeps to its schema, without and with an engine, and the schema
// can refuse.
func TestDocumentKeepsToItsSchema(t *testing.T) {
	schema, err := jsonschema.NewCompiler().Compile("../../../testdata/plan.schema.json")
	if err != nil {
		t.Fatal(err)
	}
	r := small(t)
	document := func() map[string]any {
		var b bytes.Buffer
		if err := report.WriteJSON(&b, report.NewPlanDocument(r, []string{"plan.toml"})); err != nil {
			t.Fatal(err)
		}
		v, err := jsonschema.UnmarshalJSON(&b)
		if err != nil {
			t.Fatal(err)
		}
		return v.(map[string]any)
	}
	for _, engine := range []bool{false, true} {
		if engine {
			r.Package.Buses = append(r.Package.Buses, meet.Bus{Category: "engine", Sounds: []*meet.Sound{{Path: "engine at 2000 rpm", Category: "engine", RPM: 2000}}})
			for i := range r.Callouts {
				r.Callouts[i].StepsPlain, r.Callouts[i].StepsPlanned = []float64{0.5}, []float64{0.6}
			}
		}
		d := document()
		if err := schema.Validate(d); err != nil {
			t.Errorf("engine %v: %v", engine, err)
		}
		if n := len(d["callouts"].([]any)[0].(map[string]any)["by_rpm"].([]any)); (n == 1) != engine {
			t.Errorf("engine %v: %d steps", engine, n)
		}
	}
	first := func(d map[string]any, list string) map[string]any { return d[list].([]any)[0].(map[string]any) }
	for i, spoil := range []func(d map[string]any){
		func(d map[string]any) { d["version"] = json.Number("2") },
		func(d map[string]any) { delete(d, "proof") },
		func(d map[string]any) { d["news"] = true },
		func(d map[string]any) { delete(first(d, "callouts"), "active_s") },
		func(d map[string]any) { delete(first(d, "callouts"), "sii_frames_p10_plain") },
		func(d map[string]any) { first(d, "callouts")["sii_frames_p10_planned"] = json.Number("1.2") },
		func(d map[string]any) { first(d, "callouts")["weakest_at_s"] = json.Number("-1") },
		func(d map[string]any) { first(d, "callouts")["active_s"] = []any{[]any{json.Number("1")}} },
		func(d map[string]any) { first(d, "callouts")["sii_planned"] = json.Number("1.2") },
		func(d map[string]any) { first(d, "callouts")["limited_by"] = "luck" },
		func(d map[string]any) { first(d, "ducking")["depth_db"] = json.Number("-3") },
		func(d map[string]any) { first(d, "sounds")["trim"] = json.Number("1") },
		func(d map[string]any) { first(d, "at_ear")["third_octave_db"] = []any{} },
	} {
		d := document()
		spoil(d)
		if schema.Validate(d) == nil {
			t.Errorf("%d is accepted", i)
		}
	}
}
