package auditpage

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"tachbench/analysis/band"
	"tachbench/mixplan/audit"
)

// Charts are drawn on a field of fieldW by fieldH units and stretched.
const (
	fieldW = 1000
	fieldH = 200
)

// wave is the waveform of a sound.
type wave struct {
	Desc    string
	Path    string // outline of all columns
	Top     string // what the upper and lower edge stand for
	Seconds []axisTick
	Badges  []badge
	Rows    int // of badges
	Lines   []stroke
}

// waveColumns is how many columns a waveform has at most; more would only
// make the page longer.
const waveColumns = 400

func newWave(s *audit.Sound) *wave {
	cols := joined(s.Chart.Wave)
	peak := 0.0
	for _, c := range cols {
		peak = math.Max(peak, math.Max(math.Abs(float64(c.Min)), math.Abs(float64(c.Max))))
	}
	top, label := waveRange(peak)
	w := &wave{Top: label, Seconds: secondsAxis(s.DurationS())}
	w.Desc = fmt.Sprintf("Waveform of all channels together over %s seconds; the edges are %s.", fixed(s.DurationS(), 2), label)
	w.Path = wavePath(cols, s, top)
	w.Badges, w.Lines, w.Rows = badges(s)
	return w
}

// joined merges columns until there are at most waveColumns.
func joined(in []audit.Column) []audit.Column {
	run := (len(in) + waveColumns - 1) / waveColumns
	if run <= 1 {
		return in
	}
	var out []audit.Column
	for i := 0; i < len(in); i += run {
		c := in[i]
		for _, d := range in[i:min(i+run, len(in))] {
			c.Min, c.Max = min(c.Min, d.Min), max(c.Max, d.Max)
		}
		out = append(out, c)
	}
	return out
}

// waveRange picks the amplitude at the edges: full scale, or 6 dB steps below
// it for quiet sounds, or the peak itself above full scale.
func waveRange(peak float64) (float64, string) {
	if peak > 1.0001 {
		return peak, "+" + fixed(20*math.Log10(peak), 1) + " dBFS"
	}
	top, db := 1.0, 0
	for top/2 >= peak && db > -60 {
		top /= 2
		db -= 6
	}
	return top, fixed(float64(db), 0) + " dBFS"
}

// wavePath goes along the tops and back along the bottoms. A sound shorter
// than the columns ends before the right edge by less than a column.
func wavePath(cols []audit.Column, s *audit.Sound, top float64) string {
	if len(cols) == 0 {
		return ""
	}
	run := (len(s.Chart.Wave) + waveColumns - 1) / waveColumns
	width := fieldW * s.Chart.WaveStepS * float64(max(run, 1)) / s.DurationS()
	x := func(i int) int { return int(math.Round(math.Min((float64(i)+0.5)*width, fieldW))) }
	y := func(v float32) int { return int(math.Round(fieldH / 2 * (1 - float64(v)/top))) }
	var b strings.Builder
	for i, c := range cols {
		b.WriteByte("LM"[b2i(i == 0)])
		b.WriteString(strconv.Itoa(x(i)))
		b.WriteByte(' ')
		b.WriteString(strconv.Itoa(y(c.Max)))
	}
	for i := len(cols) - 1; i >= 0; i-- {
		b.WriteByte('L')
		b.WriteString(strconv.Itoa(x(i)))
		b.WriteByte(' ')
		b.WriteString(strconv.Itoa(y(cols[i].Min)))
	}
	b.WriteByte('Z')
	return b.String()
}

func b2i(b bool) int {
	if b {
		return 1
	}
	return 0
}

// secondsAxis has about five round times.
func secondsAxis(length float64) []axisTick {
	step := roundStep(length / 5)
	if step <= 0 {
		return nil
	}
	decimals := max(0, int(math.Ceil(-math.Log10(step)-1e-9)))
	var out []axisTick
	for i := 0; float64(i)*step <= length*0.94; i++ {
		out = append(out, axisTick{round1(100 * float64(i) * step / length), fixed(float64(i)*step, decimals)})
	}
	return out
}

// roundStep returns the smallest of 1, 2 and 5 times a power of ten that is
// not below v.
func roundStep(v float64) float64 {
	if v <= 0 {
		return 0
	}
	p := math.Pow(10, math.Floor(math.Log10(v)))
	for _, m := range []float64{1, 2, 5} {
		if m*p >= v*(1-1e-9) {
			return m * p
		}
	}
	return 10 * p
}

// loud is loudness over time.
type loud struct {
	Title, Desc string
	Path        string
	Dots        []dot // single windows, which make no line
	BandY       float64
	BandH       float64 // 0 without a target
	Seconds     []axisTick
	Levels      []levelTick
	Table       [][2]string
	Missing     string // why there is no line
}

type dot struct{ X, Y float64 }

type levelTick struct {
	Y     float64 // percent
	Label string
}

// The loudness charts of all sounds share one scale.
const loudTop, loudBottom = 0.0, -60.0

// loudTableRows is how many rows the table behind a loudness chart has.
const loudTableRows = 20

func newLoud(s *audit.Sound, t target) *loud {
	c := s.Chart
	l := &loud{Title: "Short-term loudness (3 s)", Seconds: secondsAxis(s.DurationS())}
	if c.LoudnessWindowS < 1 {
		l.Title = "Momentary loudness (0.4 s)"
	}
	if len(c.Loudness) == 0 {
		l.Missing = "Shorter than 0.4 s: there is no loudness to draw."
		return l
	}
	l.Desc = l.Title + " over time, in LUFS, from −60 to 0. A value stands in the middle of its window."
	y := func(v float64) float64 {
		return round1(fieldH * (loudTop - math.Min(math.Max(v, loudBottom), loudTop)) / (loudTop - loudBottom))
	}
	x := func(i int) float64 {
		return round1(fieldW * (float64(i)*c.LoudnessStepS + c.LoudnessWindowS/2) / s.DurationS())
	}
	var b strings.Builder
	up := true // the pen
	for i, v := range c.Loudness {
		if math.IsInf(v, -1) {
			up = true
			continue
		}
		alone := up && (i+1 == len(c.Loudness) || math.IsInf(c.Loudness[i+1], -1))
		if alone {
			l.Dots = append(l.Dots, dot{x(i), y(v)})
			continue
		}
		fmt.Fprintf(&b, "%c%g %g", "LM"[b2i(up)], x(i), y(v))
		up = false
	}
	l.Path = b.String()
	for _, v := range []float64{0, -20, -40, -60} {
		l.Levels = append(l.Levels, levelTick{round1(100 * -v / 60), fixed(v, 0)})
	}
	if !math.IsNaN(t.lufs) {
		l.BandY = y(t.lufs + t.tolerance)
		l.BandH = round1(y(t.lufs-t.tolerance) - l.BandY)
	}
	every := (len(c.Loudness) + loudTableRows - 1) / loudTableRows
	for i := 0; i < len(c.Loudness); i += every {
		v := fixed(c.Loudness[i], 1)
		if math.IsInf(c.Loudness[i], -1) {
			v = "silent"
		}
		l.Table = append(l.Table, [2]string{fixed(float64(i)*c.LoudnessStepS, 1), v})
	}
	return l
}

// spectrum is the third-octave chart.
type spectrum struct {
	Desc   string
	Area   string
	Labels []axisTick
	Levels []levelTick
	Table  [][2]string
}

// The spectra of all sounds share one scale, dB re mean square 1.
const spectrumTop, spectrumBottom = 0.0, -90.0

func newSpectrum(s *audit.Sound) *spectrum {
	if len(s.ThirdOctaves) == 0 {
		return nil
	}
	const all = band.LastX - band.FirstX + 1
	p := &spectrum{Desc: "Level in third octaves from 20 Hz to 20 kHz, from −90 to 0 dB, as steps. 0 dB is a mean square of 1."}
	y := func(v float64) float64 {
		return round1(fieldH * (spectrumTop - math.Min(math.Max(v, spectrumBottom), spectrumTop)) / (spectrumTop - spectrumBottom))
	}
	x := func(i int) float64 { return round1(fieldW * float64(i) / all) }
	var b strings.Builder
	fmt.Fprintf(&b, "M%g %d", x(s.ThirdOctaves[0].X-band.FirstX), fieldH)
	for _, t := range s.ThirdOctaves {
		i := t.X - band.FirstX
		fmt.Fprintf(&b, "L%g %gL%g %g", x(i), y(t.LevelDB), x(i+1), y(t.LevelDB))
		name := strconv.FormatFloat(t.NominalHz, 'f', -1, 64)
		if t.Partial {
			name += " (in part)"
		}
		p.Table = append(p.Table, [2]string{name, fixed(t.LevelDB, 1)})
	}
	last := s.ThirdOctaves[len(s.ThirdOctaves)-1].X - band.FirstX
	fmt.Fprintf(&b, "L%g %dZ", x(last+1), fieldH)
	p.Area = b.String()
	for _, l := range []struct {
		x    int
		name string
	}{{-12, "63"}, {-6, "250"}, {0, "1k"}, {6, "4k"}, {12, "16k"}} {
		p.Labels = append(p.Labels, axisTick{round1(100 * (float64(l.x-band.FirstX) + 0.5) / all), l.name})
	}
	for _, v := range []float64{0, -30, -60, -90} {
		p.Levels = append(p.Levels, levelTick{round1(100 * -v / 90), fixed(v, 0)})
	}
	return p
}
