package plot

import (
	"bytes"
	"encoding/base64"
	"encoding/xml"
	"fmt"
	"image"
	"image/png"
	"io"
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"tachbench/samples"
	"tachbench/samples/crank"
	"tachbench/samples/tone"
)

var twin = crank.Layout{Cylinders: 2, Strokes: 2}

// linear is a track of n points whose revs move evenly over lengthS.
func linear(from, to, lengthS float64, n int) *crank.Track {
	t := &crank.Track{HopS: lengthS / float64(n-1)}
	for i := range n {
		f := float64(i) / float64(n-1)
		t.RPM = append(t.RPM, from+f*(to-from))
		t.Confidence = append(t.Confidence, 0.9)
	}
	return t
}

// chirp is a sine whose frequency moves evenly; from and to in Hz.
func chirp(rateHz int, lengthS, from, to float64) *samples.Sound {
	s := samples.NewSound(rateHz, 1, int(lengthS*float64(rateHz)))
	for i := range s.Chans[0] {
		t := float64(i) / float64(rateHz)
		s.Chans[0][i] = 0.5 * math.Sin(2*math.Pi*(from*t+(to-from)*t*t/(2*lengthS)))
	}
	return s
}

func draw(t *testing.T, p Spectrogram) string {
	t.Helper()
	b, err := p.SVG()
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

// wellFormed reads the picture to its end as XML.
func wellFormed(t *testing.T, svg string) {
	t.Helper()
	d := xml.NewDecoder(strings.NewReader(svg))
	for {
		_, err := d.Token()
		if err == io.EOF {
			return
		}
		if err != nil {
			t.Fatalf("not well-formed XML: %v", err)
		}
	}
}

func embedded(t *testing.T, svg string) *image.Paletted {
	t.Helper()
	m := regexp.MustCompile(`data:image/png;base64,([^"]+)"`).FindStringSubmatch(svg)
	if m == nil {
		t.Fatal("no embedded picture")
	}
	raw, err := base64.StdEncoding.DecodeString(m[1])
	if err != nil {
		t.Fatal(err)
	}
	img, err := png.Decode(bytes.NewReader(raw))
	if err != nil {
		t.Fatal(err)
	}
	return img.(*image.Paletted)
}

// points reads the absolute coordinates of the first path of a class, one
// list for each piece of the line.
func points(t *testing.T, svg, class string) [][][2]float64 {
	t.Helper()
	m := regexp.MustCompile(`<path class="` + class + `" d="([^"]+)"`).FindStringSubmatch(svg)
	if m == nil {
		return nil
	}
	var out [][][2]float64
	for _, piece := range strings.Split(m[1], "M")[1:] {
		var line [][2]float64
		for _, pt := range strings.Split(piece, "L") {
			xy := strings.Fields(pt)
			x, err := strconv.ParseFloat(xy[0], 64)
			if err != nil {
				t.Fatal(err)
			}
			y, err := strconv.ParseFloat(strings.TrimSuffix(xy[1], "h0.1"), 64)
			if err != nil {
				t.Fatal(err)
			}
			line = append(line, [2]float64{x, y})
		}
		out = append(out, line)
	}
	return out
}

// heightAt interpolates a line at x.
func heightAt(line [][2]float64, x float64) float64 {
	for i := 1; i < len(line); i++ {
		if a, b := line[i-1], line[i]; x >= a[0] && x <= b[0] && b[0] > a[0] {
			return a[1] + (x-a[0])/(b[0]-a[0])*(b[1]-a[1])
		}
	}
	return math.NaN()
}

// The truth is a chirp of known frequency: its ridge in the raster must lie
// under the line of the order whose frequency it has.
func TestRidgeLiesUnderItsOrder(t *testing.T) {
	const lengthS = 4.0
	for _, c := range []struct {
		name       string
		rateHz     int
		from, to   float64 // revs
		log, noisy bool
	}{
		{"48 kHz", 48000, 1600, 8000, false, false},
		{"8 kHz", 8000, 1600, 8000, false, false},
		{"192 kHz", 192000, 2000, 6000, false, false},
		{"downwards", 44100, 7500, 1500, false, false},
		{"logarithmic axis", 48000, 1600, 8000, true, false},
		{"in noise", 48000, 1600, 8000, false, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := chirp(c.rateHz, lengthS, c.from/60*2, c.to/60*2) // order 2
			if c.noisy {
				for i, v := range tone.White(c.rateHz, 1, lengthS, 0.05, 7).Chans[0] {
					s.Chans[0][i] += v
				}
			}
			p := Spectrogram{Sound: s, Track: linear(c.from, c.to, lengthS, 601), Layout: twin, LogHz: c.log,
				Orders: []Order{{Order: 2, Label: "order 2"}}, MaxHz: 600}
			svg := draw(t, p)
			img := embedded(t, svg)
			line := points(t, svg, "order")[0]
			w, h := img.Rect.Dx(), img.Rect.Dy()
			rowHigh := (plotY1 - plotY0) / float64(h)
			win := p.windows()
			p.fillDefaults()
			hz := p.frame(lengthS).hz
			worst := 0.0
			for _, col := range []int{w / 10, w / 4, w / 2, 3 * w / 4, 9 * w / 10} {
				x := plotX0 + (float64(col)+0.5)/float64(w)*(plotX1-plotX0)
				want := heightAt(line, x)
				got := plotY0 + (brightest(img, col)+0.5)*rowHigh
				// A bin of the window is 1/T. A quarter of it is asked for,
				// because a whole one would pass a line 4 % off; the raster
				// adds half a row.
				binHz := 0.25 * float64(c.rateHz) / float64(win[col])
				truth := hz.value((plotY1 - want) / (plotY1 - plotY0))
				allowed := math.Abs(hz.at(truth+binHz)-hz.at(truth)) + rowHigh/2
				if d := math.Abs(got - want); d > allowed {
					t.Errorf("column %d: ridge at y %.1f, line at %.1f, %.1f apart, allowed %.1f", col, got, want, d, allowed)
				} else {
					worst = math.Max(worst, d/allowed)
				}
			}
			t.Logf("worst distance %.2f of what is allowed", worst)
		})
	}
}

// brightest returns the middle row of the loudest shade in a column.
func brightest(img *image.Paletted, col int) float64 {
	var top uint8
	var sum, n float64
	for r := range img.Rect.Dy() {
		v := img.ColorIndexAt(col, r)
		if v > top {
			top, sum, n = v, 0, 0
		}
		if v == top {
			sum += float64(r)
			n++
		}
	}
	return sum / n
}

// A sine of amplitude 0.1 is -20 dB re a full-scale sine by definition.
func TestLevelsAreTrue(t *testing.T) {
	p := Spectrogram{Sound: tone.Sine(48000, 2, 400, 0.1, 0), MaxHz: 1000}
	for _, log := range []bool{false, true} {
		p.LogHz = log
		g := levels(p.Sound.Chans[0], 48000, p.windows(), p.frame(2).hz, rasterRows)
		if top := g.top(); math.Abs(top+20) > 0.5 {
			t.Errorf("log %v: a sine at -20 dB shows as %.2f dB", log, top)
		}
	}
}

// A click far shorter than a column must not be lost in a long sound.
func TestNoColumnIsDropped(t *testing.T) {
	const lengthS = 400
	s := tone.Impulse(8000, lengthS, 8000*200+777, 1)
	p := Spectrogram{Sound: s, MaxHz: 4000}
	img := embedded(t, draw(t, p))
	seen := 0
	for c := range img.Rect.Dx() {
		if img.ColorIndexAt(c, img.Rect.Dy()/2) > 0 {
			seen++
		}
	}
	if seen == 0 || seen > 3 {
		t.Errorf("a click shows in %d columns, want 1 to 3", seen)
	}
}

func TestUnknownRevsBreakTheLine(t *testing.T) {
	tr := linear(1600, 8000, 6, 601)
	for i := 200; i < 300; i++ {
		tr.RPM[i] = math.NaN()
	}
	p := Spectrogram{Sound: chirp(8000, 6, 50, 270), Track: tr, Layout: twin, MaxHz: 1400}
	svg := draw(t, p)
	for _, class := range []string{"order", "revs"} {
		pieces := points(t, svg, class)
		if len(pieces) != 2 {
			t.Fatalf("%s: %d pieces, want 2", class, len(pieces))
		}
		end, start := pieces[0][len(pieces[0])-1][0], pieces[1][0][0]
		scale := (plotX1 - plotX0) / 6
		if math.Abs(end-(plotX0+1.99*scale)) > 1 || math.Abs(start-(plotX0+3*scale)) > 1 {
			t.Errorf("%s: the gap runs from %.1f to %.1f", class, end, start)
		}
	}
	for i := range tr.RPM {
		tr.RPM[i], tr.Confidence[i] = math.NaN(), 0
	}
	svg = draw(t, p)
	wellFormed(t, svg)
	if points(t, svg, "order") != nil || !strings.Contains(svg, "no engine could be told") {
		t.Error("with no revs at all there must be no lines, and words that say so")
	}
}

func TestTooShort(t *testing.T) {
	for _, c := range []struct {
		s    *samples.Sound
		want string
	}{
		{nil, "there is no sound to draw"},
		{samples.NewSound(48000, 1, 0), "there is no sound to draw"},
		{samples.NewSound(48000, 1, 1), "the sound is too short to draw: 2.083e-05 s, at least 0.04 s are needed"},
		{samples.NewSound(8000, 2, 319), "the sound is too short to draw: 0.03988 s, at least 0.04 s are needed"},
	} {
		_, err := Spectrogram{Sound: c.s}.SVG()
		if err == nil || err.Error() != c.want {
			t.Errorf("got %v, want %q", err, c.want)
		}
	}
	if _, err := (Spectrogram{Sound: samples.NewSound(8000, 1, 320)}).SVG(); err != nil {
		t.Error("the shortest sound must be drawn:", err)
	}
}

// specimens are pictures of every kind, for the tests of their form.
func specimens() map[string]Spectrogram {
	vee := crank.Layout{Cylinders: 2, Strokes: 4, Firing: []float64{0, 315}}
	gaps := linear(900, 5500, 4, 401)
	for i := 250; i < 401; i++ {
		gaps.RPM[i] = math.NaN()
	}
	six := tone.White(48000, 6, 1, 0.1, 1)
	six.Chans[3][100] = math.NaN()
	plain := linear(3000, 3000, 2, 21)
	plain.Confidence = nil
	crowd := []Order{{1, "order 1"}, {1.01, "order 1.01"}, {1.02, "order 1.02"}, {40, "order 40, far above the frame"}}
	return map[string]Spectrogram{
		"pull":      {Title: "pull.wav", Sound: chirp(48000, 4, 50, 270), Track: linear(1600, 8000, 4, 401), Layout: twin},
		"gaps":      {Title: "gaps <&> \x00\xff 雪の基地.flac", Sound: chirp(8000, 4, 50, 270), Track: gaps, Layout: vee, LogHz: true},
		"long name": {Title: strings.Repeat("a long name ", 40), Sound: chirp(8000, 1, 50, 60), Track: linear(1500, 1510, 1, 11), Layout: twin},
		"hold":      {Title: "hold", Sound: chirp(8000, 2, 100, 100), Track: plain, Layout: twin, Tracked: "requested"},
		"crowd":     {Title: "crowd", Sound: chirp(8000, 2, 50, 50), Track: plain, Layout: twin, Orders: crowd},
		"silence":   {Title: "silence", Sound: tone.Silence(44100, 2, 1)},
		"six":       {Title: "six channels, one broken sample", Sound: six},
		"bare":      {Sound: chirp(8000, 0.05, 100, 100), Track: &crank.Track{HopS: 0.1}, Layout: twin},
	}
}

func TestForm(t *testing.T) {
	for name, p := range specimens() {
		t.Run(name, func(t *testing.T) {
			c, err := p.draw()
			if err != nil {
				t.Fatal(err)
			}
			apart(t, c)
			svg := string(c.svg())
			wellFormed(t, svg)
			if len(svg) > 300_000 {
				t.Errorf("%d bytes, more than 300 KB", len(svg))
			}
			if again := draw(t, p); again != svg {
				t.Error("drawn twice, the bytes differ")
			}
			for _, bad := range []string{"NaN", "Inf", "-0\"", ">-0<"} {
				if strings.Contains(svg, bad) {
					t.Errorf("the picture contains %q", bad)
				}
			}
			for _, must := range []string{"<title id=\"t\">", "<desc id=\"d\">Spectrogram of ", `role="img"`} {
				if !strings.Contains(svg, must) {
					t.Errorf("no %s", must)
				}
			}
		})
	}
}

// The raster of white noise is the hardest to keep small.
func TestNoiseStaysSmall(t *testing.T) {
	p := Spectrogram{Sound: tone.White(48000, 1, 30, 0.2, 3), Track: linear(1600, 8000, 30, 3001), Layout: twin, MaxHz: 3000}
	if n := len(draw(t, p)); n > 300_000 {
		t.Errorf("%d bytes, more than 300 KB", n)
	}
}

// apart checks that no two texts touch and that all lie inside the picture.
func apart(t *testing.T, c *canvas) {
	t.Helper()
	if len(c.boxes) == 0 {
		t.Fatal("no text in the picture")
	}
	for i, a := range c.boxes {
		if a.x0 < 0 || a.y0 < 0 || a.x1 > c.w || a.y1 > c.h {
			t.Errorf("%q leaves the picture: %s", a.text, at(a))
		}
		for _, b := range c.boxes[:i] {
			if a.overlaps(b) {
				t.Errorf("%q and %q overlap: %s, %s", a.text, b.text, at(a), at(b))
			}
		}
	}
}

func at(b box) string { return fmt.Sprintf("(%.0f,%.0f)-(%.0f,%.0f)", b.x0, b.y0, b.x1, b.y1) }
