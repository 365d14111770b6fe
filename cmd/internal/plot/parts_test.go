package plot

import (
	"image/color"
	"math"
	"reflect"
	"strings"
	"testing"

	"tachbench/samples/crank"
)

// Relative luminance after WCAG 2.2, "relative luminance".
func luminance(c color.RGBA) float64 {
	lin := func(v uint8) float64 {
		s := float64(v) / 255
		if s <= 0.04045 {
			return s / 12.92
		}
		return math.Pow((s+0.055)/1.055, 2.4)
	}
	return 0.2126*lin(c.R) + 0.7152*lin(c.G) + 0.0722*lin(c.B)
}

// CIE 1976 lightness, 0..100.
func lightness(c color.RGBA) float64 {
	y := luminance(c)
	if y <= 216.0/24389 {
		return y * 24389 / 27
	}
	return 116*math.Cbrt(y) - 16
}

// Louder is always darker, in steps of the same order, so that a grey print
// and every kind of colour sight read the levels in the right order.
func TestLevelColoursFall(t *testing.T) {
	const n = 64
	last := lightness(levelColour(0))
	whole := last - lightness(levelColour(1))
	for i := 1; i <= n; i++ {
		l := lightness(levelColour(float64(i) / n))
		if step := (last - l) / (whole / n); step < 0.3 || step > 2.2 {
			t.Errorf("at %.2f the lightness falls by %.2f of the mean step", float64(i)/n, step)
		}
		last = l
	}
	if whole < 80 {
		t.Errorf("the colours span %.0f of 100 in lightness, want 80", whole)
	}
}

// Contrast on the paper: text 4.5:1, lines 3:1 (WCAG 2.2, 1.4.3 and 1.4.11).
func TestInksAreReadable(t *testing.T) {
	// A capital becomes small by |0x20; digits have that bit already.
	hex := func(s string) color.RGBA {
		var v [3]uint8
		for i := range v {
			v[i] = uint8(strings.IndexByte("0123456789abcdef", s[1+2*i]|0x20)<<4 | strings.IndexByte("0123456789abcdef", s[2+2*i]|0x20))
		}
		return color.RGBA{v[0], v[1], v[2], 255}
	}
	contrast := func(s string) float64 { return (luminance(hex(paper)) + 0.05) / (luminance(hex(s)) + 0.05) }
	for _, s := range []string{ink, softInk} {
		if c := contrast(s); c < 4.5 {
			t.Errorf("text %s: contrast %.2f", s, c)
		}
	}
	dashes := map[string]bool{}
	for _, p := range pens {
		if c := contrast(p.colour); c < 3 {
			t.Errorf("pen %s: contrast %.2f", p.colour, c)
		}
		if dashes[p.dash] {
			t.Errorf("two pens share the dash %q", p.dash)
		}
		dashes[p.dash] = true
	}
}

// Which orders a layout sounds follows from its firing angles; see the table
// of layouts that crank.Layout.OrderAmplitude is tested against.
func TestOrdersOf(t *testing.T) {
	for _, c := range []struct {
		name   string
		layout crank.Layout
		want   []string
	}{
		{"two-stroke twin", crank.Layout{Cylinders: 2, Strokes: 2}, []string{"order 2 – firing", "order 4 – 2 × firing", "order 8 – 4 × firing"}},
		{"single", crank.Layout{Cylinders: 1, Strokes: 4}, []string{"order 0.5 – firing", "order 1 – 2 × firing", "order 2 – 4 × firing"}},
		{"four", crank.Layout{Cylinders: 4, Strokes: 4}, []string{"order 2 – firing", "order 4 – 2 × firing", "order 8 – 4 × firing"}},
		{"triple", crank.Layout{Cylinders: 3, Strokes: 4}, []string{"order 1.5 – firing", "order 3 – 2 × firing", "order 6 – 4 × firing"}},
		// 180-540: the firing order itself is cancelled.
		{"180 twin", crank.Layout{Cylinders: 2, Strokes: 4, Firing: []float64{0, 180}}, []string{"order 1.5", "order 0.5 – cycle", "order 2 – 2 × firing", "order 4 – 4 × firing"}},
		{"315-405 vee", crank.Layout{Cylinders: 2, Strokes: 4, Firing: []float64{0, 315}}, []string{"order 1 – firing", "order 2 – 2 × firing", "order 4.5"}},
	} {
		var got []string
		for _, o := range OrdersOf(c.layout) {
			got = append(got, o.Label)
			if a := c.layout.OrderAmplitude(o.Order); a < strong {
				t.Errorf("%s: %s has amplitude %.2f", c.name, o.Label, a)
			}
		}
		if !reflect.DeepEqual(got, c.want) {
			t.Errorf("%s: %q, want %q", c.name, got, c.want)
		}
	}
}

func TestTicks(t *testing.T) {
	for _, c := range []struct {
		s    scale
		n    int
		want []float64
	}{
		{scale{from: 0, to: 10}, 5, []float64{0, 2, 4, 6, 8, 10}},
		{scale{from: 0, to: 0.3}, 3, []float64{0, 0.1, 0.2, 0.30000000000000004}},
		{scale{from: 2950, to: 3050}, 4, []float64{2950, 3000, 3050}},
		{scale{from: 20, to: 1400, log: true}, 8, []float64{20, 50, 100, 200, 500, 1000}},
	} {
		if got := c.s.ticks(c.n); !reflect.DeepEqual(got, c.want) {
			t.Errorf("%g to %g: %v, want %v", c.s.from, c.s.to, got, c.want)
		}
	}
	for v, want := range map[float64]string{-1e-12: "0", 0.30000000000000004: "0.3", -85: "−85", 12000: "12000"} {
		if got := label(v); got != want {
			t.Errorf("label(%g) = %q, want %q", v, got, want)
		}
	}
}

// What is left out of a trace must lie within a tenth of a unit, plus the
// rounding of coordinates, of what is drawn; spikes always stay.
func TestTraceKeepsShape(t *testing.T) {
	var x, y []float64
	for i := range 5000 {
		x = append(x, float64(i)*0.2)
		y = append(y, 50+40*math.Sin(float64(i)/300))
	}
	y[2501] = 5
	d := trace(x, y)
	if n := strings.Count(d, "L"); n > 250 {
		t.Errorf("%d points for a smooth line, want at most 250", n)
	}
	line := points(t, `<path class="l" d="`+d+`"`, "l")[0]
	for i := range x {
		if got := heightAt(line, x[i]); math.Abs(x[i]-x[2501]) > 2 && x[i] < 999 && math.Abs(got-y[i]) > 0.25 {
			t.Fatalf("at %.1f: drawn %.2f, is %.2f", x[i], got, y[i])
		}
	}
	if got := heightAt(line, num1(x[2501])); math.Abs(got-5) > 0.1 {
		t.Errorf("the spike to 5 is drawn at %.2f", got)
	}
	if d := trace([]float64{3, 4}, []float64{7, math.NaN()}); d != "M3 7h0.1" {
		t.Errorf("a lone point: %q", d)
	}
	if d := trace([]float64{1, math.Inf(1)}, []float64{math.NaN(), 2}); d != "" {
		t.Errorf("nothing known: %q", d)
	}
}

func num1(v float64) float64 { return math.Round(v*10) / 10 }

func TestClipMeetsTheEdge(t *testing.T) {
	x, y := clip([]float64{0, 1, 2, 3}, []float64{5, 15, 15, -5}, 0, 10)
	if d := trace(x, y); d != "M0 5L0.5 10" {
		t.Errorf("clipped to %q", d)
	}
}

func TestSpread(t *testing.T) {
	for _, c := range []struct{ in, want []float64 }{
		{[]float64{10, 50}, []float64{10, 50}},
		{[]float64{10, 12, 14}, []float64{10, 20, 30}},
		{[]float64{95, 97, 99}, []float64{80, 90, 100}},
	} {
		if got := spread(c.in, 10, 0, 100); !reflect.DeepEqual(got, c.want) {
			t.Errorf("%v: %v, want %v", c.in, got, c.want)
		}
	}
}
