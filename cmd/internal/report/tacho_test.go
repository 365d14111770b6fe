package report

import (
	"bytes"
	"encoding/json"
	"math"
	"reflect"
	"sort"
	"strings"
	"testing"

	"tachbench/samples/crank"
)

func example() Tacho {
	nan := math.NaN()
	return Tacho{Path: "hold.wav", LengthS: 0.5, Track: &crank.Track{
		StartS: 0, HopS: 0.1,
		RPM:        []float64{nan, 3008.123, 2990, 3031.004, 3010},
		Confidence: []float64{0.1, 0.97, 0.96, 0.91119, 0.9},
	}}
}

// fields lists every key of a JSON document, with its path.
func fields(v any, at string, into map[string]bool) {
	switch v := v.(type) {
	case map[string]any:
		for k, inner := range v {
			p := strings.TrimPrefix(at+"."+k, ".")
			into[p] = true
			fields(inner, p, into)
		}
	case []any:
		for _, inner := range v {
			fields(inner, at+"[]", into)
		}
	}
}

// The names scripts rely on, written out a second time on purpose: a rename
// in the structs must not go unseen.
func TestTachoFields(t *testing.T) {
	doc := TachoDocument{Version: Version, Files: []TachoFile{example().JSON()}, Unreadable: []Unreadable{{"x.wav", "no such file"}}}
	var buf bytes.Buffer
	if err := WriteJSON(&buf, doc); err != nil {
		t.Fatal(err)
	}
	var v any
	if err := json.Unmarshal(buf.Bytes(), &v); err != nil {
		t.Fatal(err)
	}
	seen := map[string]bool{}
	fields(v, "", seen)
	var got []string
	for k := range seen {
		got = append(got, k)
	}
	sort.Strings(got)
	want := []string{
		"files",
		"files[].path",
		"files[].rpm_max",
		"files[].rpm_median",
		"files[].rpm_min",
		"files[].track",
		"files[].track[].confidence",
		"files[].track[].rpm",
		"files[].track[].time_s",
		"unreadable",
		"unreadable[].error",
		"unreadable[].path",
		"version",
	}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("fields\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
}

func TestTachoJSON(t *testing.T) {
	var buf bytes.Buffer
	doc := TachoDocument{Version: 1, Files: []TachoFile{example().JSON(), Tacho{Path: "a<b>.wav"}.JSON()}, Unreadable: []Unreadable{}}
	if err := WriteJSON(&buf, doc); err != nil {
		t.Fatal(err)
	}
	want := `{"version":1,"files":[{"path":"hold.wav","rpm_median":3009.06,"rpm_min":2990,"rpm_max":3031,"track":[` +
		`{"time_s":0,"rpm":null,"confidence":0.1},{"time_s":0.1,"rpm":3008.12,"confidence":0.97},` +
		`{"time_s":0.2,"rpm":2990,"confidence":0.96},{"time_s":0.3,"rpm":3031,"confidence":0.911},` +
		`{"time_s":0.4,"rpm":3010,"confidence":0.9}]},` +
		`{"path":"a<b>.wav","rpm_median":null,"rpm_min":null,"rpm_max":null,"track":[]}],"unreadable":[]}` + "\n"
	if got := buf.String(); got != want {
		t.Errorf("got\n%s\nwant\n%s", got, want)
	}
}

func TestNumber(t *testing.T) {
	for v, want := range map[Number]string{
		Number(math.Inf(1)):  "null",
		Number(math.Inf(-1)): "null",
		Number(math.NaN()):   "null",
		Round(-0.0001, 2):    "0",
		Round(0.1+0.2, 6):    "0.3",
		Round(-20.149, 1):    "-20.1",
	} {
		b, err := json.Marshal(v)
		if err != nil || string(b) != want {
			t.Errorf("%g: %s %v, want %s", float64(v), b, err, want)
		}
	}
}

func TestTables(t *testing.T) {
	var buf bytes.Buffer
	silent := Tacho{Path: "a/long/way/down/to/雪の基地/silence-with-a-long-name.wav", LengthS: 2}
	odd := example()
	odd.Path = "two\nlines\x1b[31m.wav"
	if err := TachoTable(&buf, []Tacho{example(), silent, odd}); err != nil {
		t.Fatal(err)
	}
	want := `file                       length  median  lowest  highest  known  confidence
                                s     RPM     RPM      RPM      %
-----------------------------------------------------------------------------
hold.wav                     0.50  3009.1    2990     3031     80   0.94 high
a/long/w…-a-long-name.wav    2.00       –       –        –      0        none
two?lines?[31m.wav           0.50  3009.1    2990     3031     80   0.94 high
`
	if got := buf.String(); got != want {
		t.Errorf("got\n%s\nwant\n%s", got, want)
	}
	buf.Reset()
	if err := TachoTrackTable(&buf, example()); err != nil {
		t.Fatal(err)
	}
	want = `time         revs  confidence
   s          RPM
-----------------------------
0.00  cannot tell   0.10 none
0.05       3008.1   0.97 high
`
	if got := buf.String(); !strings.HasPrefix(got, want) {
		t.Errorf("got\n%s\nwant it to begin\n%s", got, want)
	}
}

func TestTableWidth(t *testing.T) {
	long := Tacho{Path: strings.Repeat("recordings/", 30) + "x.wav", LengthS: 86399.99, Track: &crank.Track{HopS: 1, RPM: []float64{19999.9}, Confidence: []float64{1}}}
	var buf bytes.Buffer
	if err := TachoTable(&buf, []Tacho{long}); err != nil {
		t.Fatal(err)
	}
	for line := range strings.Lines(buf.String()) {
		if n := len([]rune(strings.TrimSuffix(line, "\n"))); n > 80 {
			t.Errorf("%d columns: %s", n, line)
		}
	}
}

func TestTableStep(t *testing.T) {
	for length, want := range map[float64]float64{0.1: 0.05, 3: 0.2, 10: 0.5, 24: 1, 60: 5, 600: 60, 86400: 3600} {
		if got := tableStep(length); got != want {
			t.Errorf("%g s: a row each %g s, want %g", length, got, want)
		}
	}
}

func TestAdvice(t *testing.T) {
	low, gaps, whole := example(), example(), example()
	whole.Track.RPM[0] = 3000
	low.Track.Confidence = []float64{0, 0.5, 0.5, 0.4, 0.3}
	gaps.Track.RPM[1], gaps.Track.RPM[2] = math.NaN(), math.NaN()
	for _, c := range []struct {
		f    Tacho
		want string
	}{
		{whole, ""},
		{Tacho{Path: "x"}, ""},
		{low, "hold.wav: confidence is low (0.42). "},
		{gaps, "hold.wav: revs are known in 40 % of the recording. "},
	} {
		if got := TachoAdvice(c.f); !strings.HasPrefix(got, c.want) || (c.want == "") != (got == "") {
			t.Errorf("%q, want %q", got, c.want)
		}
	}
}

func TestWriteCurve(t *testing.T) {
	var buf bytes.Buffer
	if err := WriteCurve(&buf, example().Track); err != nil {
		t.Fatal(err)
	}
	want := "time_s,rpm\n0.1000,3008.12\n0.2000,2990.00\n0.3000,3031.00\n0.4000,3010.00\n"
	if got := buf.String(); got != want {
		t.Errorf("got %q", got)
	}
}

func TestWrap(t *testing.T) {
	if got := Wrap("one two  three\nfour", 9); got != "one two\nthree\nfour" {
		t.Errorf("%q", got)
	}
}
