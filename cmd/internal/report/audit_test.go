package report

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"encoding/xml"
	"math"
	"reflect"
	"sort"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"

	"tachbench/analysis/band"
	"tachbench/analysis/defect"
	"tachbench/analysis/loudness"
	"tachbench/analysis/peak"
	"tachbench/analysis/speech"
	"tachbench/mixplan/audit"
	"tachbench/samples"
)

func ruled(id string, atS float64, channel int, what string) defect.Finding {
	r, _ := defect.RuleByID(id)
	return defect.Finding{Rule: id, Severity: r.Severity, AtS: atS, Channel: channel, Value: -0.312345, Limit: -1, Unit: "dBTP", Message: what + " " + r.Why + " " + r.Do}
}

// auditExample has one sound with everything, one with nothing, and all other
// parts of a result.
func auditExample() *audit.Result {
	nan := math.NaN()
	absent := func(why string) loudness.Reading { return loudness.Reading{Value: nan, Absent: why} }
	full := audit.Sound{
		Path: "callouts/go.wav", Category: "callout", StandIn: true,
		Info:         samples.Info{Format: "wav", RateHz: 48000, Channels: 2, BitDepth: 16, Frames: 72000},
		Levels:       loudness.Result{IntegratedLUFS: loudness.Reading{Value: -20.123}, RangeLU: absent(loudness.ReasonTooShortForShortTerm), MomentaryMaxLUFS: loudness.Reading{Value: -17}, ShortTermMaxLUFS: absent(loudness.ReasonTooShortForShortTerm)},
		Peaks:        peak.Result{RateHz: 48000, Channels: []peak.Channel{{Frames: 72000, SamplePeak: 0.5, TruePeak: 0.52, RMS: 0.1, DC: -0.001}, {Frames: 72000, SamplePeak: 0.25, TruePeak: 0.25, RMS: 0.1}}},
		Ends:         audit.Ends{LeadS: 0.012, TailS: 0.1},
		Stereo:       audit.Stereo{Correlation: 0.5, FoldLossDB: -1.76},
		EdgeHz:       nan,
		Speech:       &speech.Result{ActiveDB: speech.Reading{Value: -22.345}, NoiseFloorDB: speech.Reading{Value: nan, Absent: speech.ReasonNoPauses}, SpeechToNoise: speech.Reading{Value: nan, Absent: speech.ReasonNoPauses}},
		ThirdOctaves: []band.Band{{X: 0, NominalHz: 1000, LevelDB: -30.004}, {X: 1, NominalHz: 1250, LevelDB: math.Inf(-1)}},
		Findings: []defect.Finding{
			ruled("true-peak-over", 0.4123456, 1, "The true peak is over."),
			ruled("click", 0.5, -1, "A tick."), ruled("click", 0.7, 0, "Another tick."),
		},
	}
	silent := audit.Sound{
		Path: "=odd\x1b.ogg", Info: samples.Info{Format: "ogg", RateHz: 44100, Channels: 1, Frames: 4410},
		Levels: loudness.Result{IntegratedLUFS: absent(loudness.ReasonTooShortForBlock), RangeLU: absent(loudness.ReasonTooShortForShortTerm), MomentaryMaxLUFS: absent(loudness.ReasonTooShortForBlock), ShortTermMaxLUFS: absent(loudness.ReasonTooShortForShortTerm)},
		Peaks:  peak.Result{RateHz: 44100, Channels: []peak.Channel{{Frames: 4410, SamplePeakFrame: -1, TruePeakFrame: -1}}},
		Ends:   audit.Ends{LeadS: 0.1}, Stereo: audit.Stereo{Correlation: nan, FoldLossDB: nan}, EdgeHz: 12000,
	}
	bad := ruled("unreadable", nan, -1, "The file is empty.")
	return &audit.Result{
		Sounds:     []audit.Sound{full, silent},
		Unreadable: []audit.Unreadable{{Path: "bad.wav", Category: "callout", Err: errorText("the file is empty"), Finding: bad}},
		Package: []audit.Located{
			{Category: "callout", Finding: ruled("loudness-spread", nan, -1, "Too wide.")},
			{Path: "left.wav", Finding: ruled("unused-file", nan, -1, "Not used.")},
		},
		Categories: []audit.Category{{Name: "callout", Sounds: 1, StandIns: 1, TargetLUFS: -19, ToleranceLU: 1, MedianLUFS: nan}},
	}
}

type errorText string

func (e errorText) Error() string { return string(e) }

func auditJSON(t *testing.T, r *audit.Result) (any, string) {
	t.Helper()
	var buf bytes.Buffer
	if err := WriteJSON(&buf, NewAuditDocument(r)); err != nil {
		t.Fatal(err)
	}
	text := buf.String()
	v, err := jsonschema.UnmarshalJSON(&buf)
	if err != nil {
		t.Fatal(err)
	}
	return v, text
}

func auditSchema(t *testing.T) *jsonschema.Schema {
	t.Helper()
	s, err := jsonschema.NewCompiler().Compile("../../../testdata/audit.schema.json")
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func TestAuditSchema(t *testing.T) {
	schema := auditSchema(t)
	for _, r := range []*audit.Result{auditExample(), {}} {
		v, text := auditJSON(t, r)
		if err := schema.Validate(v); err != nil {
			t.Errorf("%v\n%s", err, text)
		}
	}
	// It must be able to refuse.
	for _, break_ := range []func(m map[string]any){
		func(m map[string]any) { m["version"] = json.Number("2") },
		func(m map[string]any) { delete(m, "unreadable") },
		func(m map[string]any) { m["files"].([]any)[0].(map[string]any)["integrated_lufs"] = "-20.1" },
		func(m map[string]any) { delete(m["files"].([]any)[1].(map[string]any), "true_peak_dbtp") },
		func(m map[string]any) { m["files"].([]any)[1].(map[string]any)["true_peak"] = json.Number("1") },
		func(m map[string]any) {
			m["files"].([]any)[0].(map[string]any)["findings"].([]any)[0].(map[string]any)["severity"] = "fatal"
		},
	} {
		v, _ := auditJSON(t, auditExample())
		break_(v.(map[string]any))
		if schema.Validate(v) == nil {
			t.Errorf("accepted %v", v)
		}
	}
}

// The names scripts rely on, written out a second time on purpose.
func TestAuditFields(t *testing.T) {
	v, _ := auditJSON(t, auditExample())
	seen := map[string]bool{}
	fields(v, "", seen)
	var got []string
	for k := range seen {
		got = append(got, k)
	}
	sort.Strings(got)
	want := strings.Fields(`
		categories categories[].files categories[].median_lufs categories[].name categories[].stand_ins
		categories[].target_lufs categories[].tolerance_lu
		files files[].active_speech_level_dbfs files[].band_edge_hz files[].bit_depth files[].category files[].channels files[].crest_db files[].dc_offset
		files[].duration_s files[].findings files[].findings[].at_s files[].findings[].channel files[].findings[].limit
		files[].findings[].message files[].findings[].rule files[].findings[].severity files[].findings[].unit
		files[].findings[].value files[].fold_down_loss_db files[].format files[].integrated_lufs files[].lead_silence_s
		files[].loudness_range_lu files[].momentary_max_lufs files[].noise_floor_dbfs files[].not_measured
		files[].not_measured.crest_db files[].not_measured.integrated_lufs files[].not_measured.loudness_range_lu
		files[].not_measured.momentary_max_lufs files[].not_measured.noise_floor_dbfs files[].not_measured.rms_dbfs files[].not_measured.sample_peak_dbfs
		files[].not_measured.short_term_max_lufs files[].not_measured.speech_to_noise_db files[].not_measured.true_peak_dbtp
		files[].path files[].per_channel files[].per_channel[].crest_db files[].per_channel[].dc_offset
		files[].per_channel[].rms_dbfs files[].per_channel[].sample_peak_dbfs files[].per_channel[].true_peak_dbtp
		files[].rms_dbfs files[].sample_peak_dbfs files[].sample_rate_hz files[].short_term_max_lufs files[].speech_to_noise_db files[].stand_in
		files[].stereo_correlation files[].tail_silence_s files[].third_octave files[].third_octave[].level_dbfs
		files[].third_octave[].nominal_hz files[].true_peak_dbtp
		package package[].at_s package[].category package[].channel package[].limit package[].message package[].path
		package[].rule package[].severity package[].unit package[].value
		summary summary.errors summary.files summary.notes summary.unreadable summary.warnings
		unreadable unreadable[].error unreadable[].path version`)
	if !reflect.DeepEqual(got, want) {
		t.Errorf("fields\n%s\nwant\n%s", strings.Join(got, " "), strings.Join(want, " "))
	}
}

func TestAuditJSONValues(t *testing.T) {
	v, text := auditJSON(t, auditExample())
	file := v.(map[string]any)["files"].([]any)[0].(map[string]any)
	for key, want := range map[string]any{
		"integrated_lufs": json.Number("-20.12"), "loudness_range_lu": nil, "true_peak_dbtp": json.Number("-5.68"),
		"sample_peak_dbfs": json.Number("-6.02"), "active_speech_level_dbfs": json.Number("-22.35"), "noise_floor_dbfs": nil, "rms_dbfs": json.Number("-20"), "crest_db": json.Number("13.98"),
		"dc_offset": json.Number("-0.001"), "duration_s": json.Number("1.5"), "bit_depth": json.Number("16"), "stand_in": true,
	} {
		if file[key] != want {
			t.Errorf("%s is %v, want %v", key, file[key], want)
		}
	}
	f := file["findings"].([]any)
	if one := f[0].(map[string]any); one["channel"] != json.Number("1") || one["at_s"] != json.Number("0.412346") || one["value"] != json.Number("-0.3123") {
		t.Errorf("%v", one)
	}
	if one := f[1].(map[string]any); one["channel"] != nil {
		t.Errorf("%v", one)
	}
	ogg := v.(map[string]any)["files"].([]any)[1].(map[string]any)
	if ogg["bit_depth"] != nil || ogg["true_peak_dbtp"] != nil || ogg["category"] != nil ||
		ogg["not_measured"].(map[string]any)["integrated_lufs"] != "shorter than 0.4 s" {
		t.Errorf("%v", ogg)
	}
	if strings.Contains(text, "NaN") || strings.Count(text, "\n") != 1 {
		t.Error(text)
	}
}

func TestAuditText(t *testing.T) {
	var buf bytes.Buffer
	if err := AuditText(&buf, auditExample(), AuditTextOptions{}); err != nil {
		t.Fatal(err)
	}
	want := `file             length  loudness  range    peak  findings
                      s      LUFS     LU    dBTP
-----------------------------------------------------------------------------
callouts/go.wav    1.50     -20.1  short    -5.7  ERROR true-peak-over, click
=odd?.ogg          0.10     short  short  silent  none

ERROR true-peak-over – true peak over the limit (1 place in 1 file)
  The converter or the next resampler clips between the samples, the more so when sounds add up.
  Lower the gain by the difference, or limit with a true-peak limiter.
  - callouts/go.wav, 0.412 s, channel 2: The true peak is over.

ERROR unreadable – cannot be read (1 place in 1 file)
  The machine will most likely not read it either. Export it again.
  - bad.wav: The file is empty.

WARNING click – click inside (2 places in 1 file)
  A single tick is heard as a fault of the machine. Redraw or cut the place, or repeat the edit with
  a crossfade.
  - callouts/go.wav, 0.500 s: A tick.
  - callouts/go.wav, 0.700 s, channel 1: Another tick.
`
	got := buf.String()
	lines, wants := strings.Split(got, "\n"), strings.Split(want, "\n")
	for i, w := range wants[:len(wants)-1] {
		if i >= len(lines) || lines[i] != w {
			t.Fatalf("line %d of\n%s\nwant\n%s", i+1, got, want)
		}
	}
	if !strings.Contains(got, "\n  - category callout: Too wide.\n") || !strings.Contains(got, "\n  - left.wav: Not used.\n") {
		t.Error(got)
	}
	if !strings.HasSuffix(got, "\n2 sounds: 2 errors, 4 warnings, 0 notes. 1 file could not be read.\n") {
		t.Error(got)
	}
	buf.Reset()
	if err := AuditText(&buf, auditExample(), AuditTextOptions{Quiet: true}); err != nil || strings.Count(buf.String(), "\n") != 1 {
		t.Errorf("%v %q", err, buf.String())
	}
	buf.Reset()
	if err := AuditText(&buf, &audit.Result{}, AuditTextOptions{}); err != nil || buf.String() != "0 sounds: nothing found.\n" {
		t.Errorf("%v %q", err, buf.String())
	}
}

func TestAuditTextWidthAndLength(t *testing.T) {
	r := auditExample()
	base := r.Sounds[0]
	for _, rule := range defect.Rules() {
		base.Findings = append(base.Findings, ruled(rule.ID, 12345.678, 1, strings.Repeat("Long words. ", 30)))
	}
	base.Path = strings.Repeat("a-long-folder/", 20) + "x.wav"
	base.Info.Frames = 48000 * 99999
	for range 100 {
		r.Sounds = append(r.Sounds, base)
	}
	var buf bytes.Buffer
	if err := AuditText(&buf, r, AuditTextOptions{}); err != nil {
		t.Fatal(err)
	}
	for line := range strings.Lines(buf.String()) {
		// One word that is longer than a line cannot be helped.
		if n := len([]rune(strings.TrimSuffix(line, "\n"))); n > 100 && !strings.Contains(line, base.Path) {
			t.Errorf("%d columns: %s", n, line)
		}
	}
	if !strings.Contains(buf.String(), "and 62 sounds more, 61 of them with findings; --all lists them\n") {
		t.Error(buf.String()[:5000])
	}
	short := buf.Len()
	buf.Reset()
	if err := AuditText(&buf, r, AuditTextOptions{All: true}); err != nil || buf.Len() < 5*short || strings.Contains(buf.String(), "--all") {
		t.Errorf("%v: %d bytes after %d", err, buf.Len(), short)
	}
}

func TestAuditCSV(t *testing.T) {
	var buf bytes.Buffer
	if err := AuditCSV(&buf, auditExample()); err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(&buf).ReadAll() // checks that all rows are equally long
	if err != nil {
		t.Fatal(err)
	}
	if len(rows) != 1+1+3+1+2 || len(rows[0]) != 30 {
		t.Fatalf("%d rows of %d", len(rows), len(rows[0]))
	}
	col := map[string]int{}
	for i, name := range rows[0] {
		col[name] = i
	}
	at := func(row int, name string) string { return rows[row][col[name]] }
	if at(1, "path") != "bad.wav" || at(1, "rule") != "unreadable" || at(1, "integrated_lufs") != "" {
		t.Error(rows[1])
	}
	if at(2, "rule") != "true-peak-over" || at(2, "channel") != "1" || at(3, "channel") != "" || at(3, "integrated_lufs") != "-20.12" || at(4, "at_s") != "0.7" {
		t.Error(rows[2], rows[3], rows[4])
	}
	// A spreadsheet must not take a file name for a formula.
	if at(5, "path") != "'=odd?.ogg" || at(5, "rule") != "" || at(5, "true_peak_dbtp") != "" {
		t.Error(rows[5])
	}
	if at(6, "category") != "callout" || at(6, "path") != "" || at(7, "path") != "left.wav" {
		t.Error(rows[6], rows[7])
	}
}

func TestAuditJUnit(t *testing.T) {
	read := func(least defect.Severity) junitDoc {
		var buf bytes.Buffer
		if err := AuditJUnit(&buf, auditExample(), least); err != nil {
			t.Fatal(err)
		}
		var d junitDoc
		if err := xml.Unmarshal(buf.Bytes(), &d); err != nil {
			t.Fatal(err)
		}
		return d
	}
	d := read(defect.Error)
	if d.Tests != 6 || d.Failures != 1 || d.Errors != 1 || len(d.Suites) != 3 {
		t.Fatalf("%+v", d)
	}
	seen := map[string]bool{}
	for _, s := range d.Suites {
		for _, c := range s.Cases {
			if seen[s.Name+c.Name] {
				t.Errorf("%s twice", c.Name)
			}
			seen[s.Name+c.Name] = true
			if r := c.Failure; r != nil && !strings.Contains(r.Body, r.Message) {
				t.Errorf("%s: the body lacks the message", c.Name)
			}
		}
	}
	if s := d.Suites[0]; s.Name != "callout" || s.Tests != 4 || s.Cases[0].Class != "callouts/go.wav" || s.Cases[0].Name != "callouts/go.wav: true-peak-over" ||
		!strings.Contains(s.Cases[1].Out, "A tick.") || !strings.Contains(s.Cases[1].Out, "Another tick.") || s.Cases[1].Failure != nil {
		t.Errorf("%+v", s)
	}
	if s := d.Suites[1]; s.Name != "no category" || s.Cases[0].Name != "=odd?.ogg: all checks" {
		t.Errorf("%+v", s)
	}
	if d := read(defect.Warning); d.Failures != 4 || !strings.Contains(d.Suites[0].Cases[1].Failure.Body, "Another tick.") {
		t.Errorf("%+v", d)
	}
	if d := read(defect.Error + 1); d.Failures != 0 {
		t.Errorf("%+v", d)
	}
}
