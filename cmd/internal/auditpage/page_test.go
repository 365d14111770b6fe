package auditpage

import (
	"bytes"
	"context"
	"encoding/xml"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"tachbench/analysis/defect"
	"tachbench/analysis/peak"
	"tachbench/mixplan/audit"
	"tachbench/samples"
	"tachbench/samples/file"
	"tachbench/samples/tone"
	"tachbench/samples/wav"
)

// evil is a file name that tries to break out of every place it is put in.
const evil = `"><script>alert(1)</script>' onload='x' &amp; ]]> .wav`

func put(t testing.TB, dir, name string, s *samples.Sound) {
	t.Helper()
	path := filepath.Join(dir, name)
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := file.WriteSound(path, s, wav.SpecOf(s, 16), true); err != nil {
		t.Fatal(err)
	}
}

// example is a small package with a target, a stand-in, a file with an evil
// name, an unreadable one, one too short for any loudness and one of silence.
func example(t testing.TB) *audit.Result {
	t.Helper()
	dir := t.TempDir()
	loud := tone.Sine(48000, 4, 997, 1.2, 0) // clips
	for i, v := range loud.Chans[0] {
		loud.Chans[0][i] = math.Max(-1, math.Min(1, v))
	}
	evilPath := strings.ReplaceAll(evil, "/", "∕") // no folder
	put(t, dir, "callouts/"+evilPath, loud)
	put(t, dir, "callouts/fine.wav", tone.White(48000, 2, 4, 0.1, 1))
	put(t, dir, "callouts/t-short.wav", tone.White(48000, 1, 0.1, 0.1, 2))
	put(t, dir, "effects/silent.wav", tone.Silence(48000, 1, 1))
	put(t, dir, "effects/one.wav", samples.NewSound(48000, 1, 1))
	for name, text := range map[string]string{
		"effects/bad.wav": "no sound",
		"soundsheet.toml": "title = '''" + evil + "'''\nsample_rate = 48000\nbit_depth = 16\n[category.callout]\nfiles = ['callouts/*.wav']\nstand_in = ['callouts/t-*.wav']\ntarget_lufs = -19\n[category.\"<b>\"]\nfiles = ['effects/*.wav']\n",
	} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	r, err := audit.Run(context.Background(), audit.Inputs{Paths: []string{dir}}, audit.Options{Charts: true})
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func html(t testing.TB, r *audit.Result) []byte {
	t.Helper()
	var buf bytes.Buffer
	if err := Write(&buf, r); err != nil {
		t.Fatal(err)
	}
	return buf.Bytes()
}

// element is what the checks look at.
type element struct {
	name  string
	attrs map[string]string
	text  string
}

// elements parses the page as strict XML: it is written so that it is both.
func elements(t *testing.T, page []byte) []*element {
	t.Helper()
	d := xml.NewDecoder(bytes.NewReader(page))
	var all, open []*element
	for {
		tok, err := d.Token()
		if err == io.EOF {
			return all
		}
		if err != nil {
			t.Fatalf("not well-formed: %v", err)
		}
		switch tok := tok.(type) {
		case xml.StartElement:
			e := &element{name: tok.Name.Local, attrs: map[string]string{}}
			for _, a := range tok.Attr {
				e.attrs[a.Name.Local] = a.Value
			}
			all, open = append(all, e), append(open, e)
		case xml.EndElement:
			open = open[:len(open)-1]
		case xml.CharData:
			if len(open) > 0 {
				open[len(open)-1].text += string(tok)
			}
		}
	}
}

func TestPageIsSelfContained(t *testing.T) {
	page := html(t, example(t))
	for _, e := range elements(t, page) {
		switch e.name {
		case "script", "link", "img", "iframe", "object", "embed", "image", "use", "foreignObject", "base", "form":
			t.Errorf("<%s> in the page", e.name)
		}
		for name, v := range e.attrs {
			if strings.HasPrefix(name, "on") || name == "src" || name == "srcset" {
				t.Errorf("<%s %s=%q>", e.name, name, v)
			}
			if name == "href" && !strings.HasPrefix(v, "#") {
				t.Errorf("link to %q", v)
			}
			if strings.Contains(v, "ZgotmplZ") {
				t.Errorf("<%s %s=%q>: refused by the template", e.name, name, v)
			}
		}
	}
	if m := regexp.MustCompile(`https?://|@import|url\(`).Find(page); m != nil {
		t.Errorf("%s in the page", m)
	}
	if bytes.Contains(page, []byte("<script")) || bytes.Contains(page, []byte("ZgotmplZ")) || bytes.Contains(page, []byte("NaN")) || bytes.Contains(page, []byte("Inf")) {
		t.Error("script, NaN, Inf or a refused value in the page")
	}
}

// Names of files, categories and the title arrive as they are, as text.
func TestPageEscapes(t *testing.T) {
	var inHeading, inTitle, inRow, inLane bool
	for _, e := range elements(t, html(t, example(t))) {
		switch {
		case e.name == "h1":
			inHeading = e.text == evil
		case e.name == "span" && e.attrs["class"] == "path":
			inRow = inRow || strings.Contains(e.text, strings.ReplaceAll(evil, "/", "∕"))
		case e.name == "title":
			inTitle = inTitle || strings.Contains(e.text, "Waveform of") && strings.Contains(e.text, "<script>")
		case e.name == "strong":
			inLane = inLane || e.text == "<b>"
		}
	}
	if !inHeading || !inTitle || !inRow || !inLane {
		t.Errorf("heading %v, title %v, row %v, lane %v", inHeading, inTitle, inRow, inLane)
	}
}

// Every chart can be read without seeing it, every link leads somewhere, and
// no id is used twice.
func TestPageAccess(t *testing.T) {
	all := elements(t, html(t, example(t)))
	ids := map[string]*element{}
	charts, tables := 0, 0
	for _, e := range all {
		if id := e.attrs["id"]; id != "" {
			if ids[id] != nil {
				t.Errorf("id %s twice", id)
			}
			ids[id] = e
		}
	}
	for _, e := range all {
		switch e.name {
		case "svg":
			charts++
			words := strings.Fields(e.attrs["aria-labelledby"])
			if e.attrs["role"] != "img" || len(words) != 2 || ids[words[0]] == nil || ids[words[0]].name != "title" || ids[words[0]].text == "" ||
				ids[words[1]] == nil || ids[words[1]].name != "desc" || ids[words[1]].text == "" {
				t.Errorf("chart %v", e.attrs)
			}
		case "table":
			tables++
		case "a":
			if id := strings.TrimPrefix(e.attrs["href"], "#"); ids[id] == nil {
				t.Errorf("link to nothing: %s", id)
			}
		case "th":
			if e.attrs["scope"] == "" {
				t.Errorf("<th> without scope: %q", e.text)
			}
		}
	}
	if charts < 2+5*2 || tables < 3+5 {
		t.Errorf("%d charts, %d tables", charts, tables)
	}
}

func TestPageSaysWhatItIs(t *testing.T) {
	r := example(t)
	page := string(html(t, r))
	for _, want := range []string{
		"clipped at full scale", "nothing but silence", "bad.wav", "(stand-in)", "target −19.0 ± 1.0 LU",
		"Shorter than 0.4 s: there is no loudness to draw.", "whole file", "Short-term loudness (3 s)", "Momentary loudness (0.4 s)",
	} {
		if !strings.Contains(page, want) {
			t.Errorf("no %q in the page", want)
		}
	}
	if again := string(html(t, r)); again != page {
		t.Error("the same result gives another page")
	}
}

func TestLargePackage(t *testing.T) {
	r := &audit.Result{}
	for i := range 1000 {
		s := audit.Sound{Path: fmt.Sprintf("%04d.wav", i), Info: samples.Info{Format: "wav", RateHz: 48000, Channels: 1, Frames: 48000}, EdgeHz: math.NaN(),
			Stereo: audit.Stereo{Correlation: math.NaN(), FoldLossDB: math.NaN()}}
		s.Levels.IntegratedLUFS.Value = -20
		s.Peaks = peak.Result{RateHz: 48000, Channels: []peak.Channel{{Frames: 48000, SamplePeak: 0.5, TruePeak: 0.5, RMS: 0.1}}}
		s.Chart = &audit.Chart{Wave: make([]audit.Column, 800), WaveStepS: 60.0 / 48000, Loudness: make([]float64, 600), LoudnessStepS: 0.1, LoudnessWindowS: 3}
		if i%2 == 0 {
			s.Findings = []defect.Finding{{Rule: "click", Severity: defect.Warning, AtS: 0.5, Channel: 0, Message: "A tick."}}
		}
		r.Sounds = append(r.Sounds, s)
	}
	page := html(t, r)
	if n := bytes.Count(page, []byte("<article")); n != detailLimit {
		t.Errorf("%d sounds in detail", n)
	}
	if !bytes.Contains(page, []byte("Charts are drawn for the 200 worst sounds with findings; this package has 1000 sounds.")) {
		t.Error("the page does not say what it leaves out")
	}
	if len(page) > 8<<20 {
		t.Errorf("%d bytes", len(page))
	}
}

func TestBadges(t *testing.T) {
	s := &audit.Sound{Info: samples.Info{RateHz: 100, Channels: 1, Frames: 1000}}
	for i := range 8 {
		s.Findings = append(s.Findings, defect.Finding{Rule: "click", AtS: 5 + float64(i)/100})
	}
	s.Findings = append(s.Findings, defect.Finding{Rule: "dc", AtS: math.NaN()}, defect.Finding{Rule: "click-at-end", AtS: 10})
	bs, lines, rows := badges(s)
	// Four find room above each other, the others keep their lines.
	if len(bs) != 5 || len(lines) != 9 || rows != 4 {
		t.Errorf("%d badges, %d lines, %d rows", len(bs), len(lines), rows)
	}
	if last := bs[4]; last.N != 10 || last.X != 98.5 || last.Row != 0 {
		t.Errorf("%+v", last)
	}
}

func TestWaveRange(t *testing.T) {
	for _, c := range []struct {
		peak, top float64
		label     string
	}{{1, 1, "0 dBFS"}, {0.6, 1, "0 dBFS"}, {0.5, 0.5, "−6 dBFS"}, {0.1, 0.125, "−18 dBFS"}, {2, 2, "+6.0 dBFS"}, {0, 1.0 / 1024, "−60 dBFS"}} {
		if top, label := waveRange(c.peak); top != c.top || label != c.label {
			t.Errorf("%g: %g %s", c.peak, top, label)
		}
	}
}

func TestSecondsAxis(t *testing.T) {
	for length, want := range map[float64]string{1: "0.0 0.2 0.4 0.6 0.8", 4: "0 1 2 3", 0.03: "0.00 0.01 0.02", 7200: "0 2000 4000 6000"} {
		var got []string
		for _, a := range secondsAxis(length) {
			got = append(got, a.Label)
		}
		if strings.Join(got, " ") != want {
			t.Errorf("%g s: %v, want %s", length, got, want)
		}
	}
	if secondsAxis(0) != nil {
		t.Error("an axis without length")
	}
}
