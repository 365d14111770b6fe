package report

import (
	"fmt"
	"io"
	"math"

	"tachbench/analysis/tacho"
	"tachbench/samples/crank"
)

// TachoDocument is `tachbench tacho --json`.
type TachoDocument struct {
	Version    int          `json:"version"`
	Files      []TachoFile  `json:"files"`
	Unreadable []Unreadable `json:"unreadable"`
}

// TachoFile is one recording of a TachoDocument.
type TachoFile struct {
	Path      string       `json:"path"`
	RPMMedian Number       `json:"rpm_median"`
	RPMMin    Number       `json:"rpm_min"`
	RPMMax    Number       `json:"rpm_max"`
	Track     []TachoPoint `json:"track"`
}

// TachoPoint is the revs at one time.
type TachoPoint struct {
	TimeS      Number `json:"time_s"`
	RPM        Number `json:"rpm"` // null where no engine could be told
	Confidence Number `json:"confidence"`
}

// Tacho is what one recording's table and JSON are made from.
type Tacho struct {
	Path    string
	LengthS float64
	Track   *crank.Track // nil: no engine found
	Damage  error        // why not all of the recording could be read; nil if it could
	Written []string     // files made from it
}

// JSON returns the file's part of the document.
func (t Tacho) JSON() TachoFile {
	nan := Number(math.NaN())
	f := TachoFile{Path: t.Path, RPMMedian: nan, RPMMin: nan, RPMMax: nan, Track: []TachoPoint{}}
	if t.Track == nil {
		return f
	}
	s := tacho.Summarize(t.Track)
	f.RPMMedian, f.RPMMin, f.RPMMax = Round(s.MedianRPM, 2), Round(s.MinRPM, 2), Round(s.MaxRPM, 2)
	for i := range t.Track.Len() {
		f.Track = append(f.Track, TachoPoint{
			TimeS:      Round(t.Track.TimeS(i), 6),
			RPM:        Round(t.Track.RPM[i], 2),
			Confidence: Round(t.Track.Confidence[i], 3),
		})
	}
	return f
}

// Below these a summary comes with advice; above sure the word is "high".
// Common practice, no source: they only choose words.
const (
	sure       = 0.8
	fair       = 0.55
	mostlyTold = 0.95 // share of the recording
)

// confidenceWord puts a confidence into a word.
func confidenceWord(c float64) string {
	switch {
	case c >= sure:
		return "high"
	case c >= fair:
		return "fair"
	}
	return "low"
}

// told returns the share of the recording whose revs are known, 0..1.
func (t Tacho) told() float64 {
	if t.Track == nil || t.Track.Len() == 0 {
		return 0
	}
	n := 0
	for _, r := range t.Track.RPM {
		if !math.IsNaN(r) {
			n++
		}
	}
	return float64(n) / float64(t.Track.Len())
}

// TachoTable writes one row a recording.
func TachoTable(w io.Writer, files []Tacho) error {
	t := newTable([]column{{name: "file"}, {"length", "s"}, {"median", "RPM"}, {"lowest", "RPM"}, {"highest", "RPM"}, {"known", "%"}, {"confidence", ""}})
	for _, f := range files {
		row := []string{shorten(f.Path, 25), fixed(f.LengthS, 2), "–", "–", "–", "0", "none"}
		if f.Track != nil {
			s := tacho.Summarize(f.Track)
			row = []string{row[0], row[1], fixed(s.MedianRPM, 1), fixed(s.MinRPM, 0), fixed(s.MaxRPM, 0),
				fixed(100*f.told(), 0), withWord(s.Confidence)}
		}
		t.row(row...)
	}
	return t.write(w)
}

// TachoTrackTable writes the revs along one recording at round times.
func TachoTrackTable(w io.Writer, f Tacho) error {
	t := newTable([]column{{"time", "s"}, {"revs", "RPM"}, {"confidence", ""}})
	tr := f.Track
	step := tableStep(f.LengthS)
	for k := 0; ; k++ {
		at := float64(k) * step
		i := int(math.Round((at - tr.StartS) / tr.HopS))
		if i >= tr.Len() {
			break
		}
		if i < 0 {
			continue
		}
		revs, conf := "cannot tell", fixed(tr.Confidence[i], 2)+" none"
		if !math.IsNaN(tr.RPM[i]) {
			revs, conf = fixed(tr.RPM[i], 1), withWord(tr.Confidence[i])
		}
		t.row(fixed(at, 2), revs, conf)
	}
	return t.write(w)
}

func withWord(c float64) string { return fixed(c, 2) + " " + fmt.Sprintf("%-4s", confidenceWord(c)) }

// tableStep is the finest round step that gives no more than two dozen rows.
func tableStep(lengthS float64) float64 {
	for _, step := range []float64{0.05, 0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 60} {
		if lengthS/step <= 24 {
			return step
		}
	}
	return math.Ceil(lengthS/24/60) * 60
}

// TachoAdvice returns a sentence on what to do about a recording that could
// not be told all through, or "".
func TachoAdvice(f Tacho) string {
	if f.Track == nil {
		return "" // the error has said it
	}
	s := tacho.Summarize(f.Track)
	share := f.told()
	switch {
	case s.Confidence < fair:
		return fmt.Sprintf("%s: confidence is low (%.2f). Check cylinders, strokes and firing angles against the engine; give --rpm-from and --rpm-to if you know them.", f.Path, s.Confidence)
	case share < mostlyTold:
		return fmt.Sprintf("%s: revs are known in %.0f %% of the recording. For the rest: cut silence and talk, record closer to the exhaust, or give --rpm-from and --rpm-to.", f.Path, 100*share)
	}
	return ""
}

// WriteCurve writes the known revs as time_s,rpm rows, the form that
// `render --curve` reads. Unknown stretches are left out.
func WriteCurve(w io.Writer, t *crank.Track) error {
	if _, err := io.WriteString(w, "time_s,rpm\n"); err != nil {
		return err
	}
	for i, r := range t.RPM {
		if math.IsNaN(r) {
			continue
		}
		if _, err := fmt.Fprintf(w, "%.4f,%.2f\n", t.TimeS(i), r); err != nil {
			return err
		}
	}
	return nil
}
