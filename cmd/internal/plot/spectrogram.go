package plot

import (
	"encoding/base64"
	"errors"
	"fmt"
	"math"
	"sort"

	"tachbench/samples"
	"tachbench/samples/crank"
)

// Spectrogram is a picture of a recording or a rendered note with engine
// orders drawn over it, and revs and confidence beneath.
type Spectrogram struct {
	Title string         // one line, for instance the file's name
	Sound *samples.Sound // all channels are averaged
	// Track gives the revs from which the order lines are drawn. Confidence
	// may be nil: then that strip is left out. Nil: no lines, no panels.
	Track   *crank.Track
	Tracked string // what the revs are: "tracked", "requested"; default "tracked"
	Layout  crank.Layout
	Orders  []Order // nil: OrdersOf(Layout)
	// MaxHz is the top of the frequency axis; 0 takes 1.3 times the highest
	// drawn order, at least 600 Hz and at most 3 kHz. Never above half the
	// sample rate.
	MaxHz   float64
	LogHz   bool    // logarithmic frequency axis
	RangeDB float64 // levels shown below the loudest; 0 takes 75
}

// Shortest sound that can be drawn, in seconds: two turns of an engine at
// 3000 RPM.
const minDrawS = 0.04

// Places in picture units.
const (
	picW                  = 1200.0
	plotX0, plotX1        = 76.0, 990.0
	plotY0, plotY1        = 78.0, 488.0
	rpmHeight, confHeight = 110.0, 40.0
	panelGap              = 20.0
	labelX                = plotX1 + 12
	labelGap              = 16.0
	rasterRows            = 420
)

// SVG returns the picture. It fails on a sound too short to draw; it panics
// on a Layout or an order that is not valid, unless there is no Track.
func (p Spectrogram) SVG() ([]byte, error) {
	c, err := p.draw()
	if err != nil {
		return nil, err
	}
	return c.svg(), nil
}

func (p Spectrogram) draw() (*canvas, error) {
	if p.Sound == nil || p.Sound.Frames() == 0 {
		return nil, errors.New("there is no sound to draw")
	}
	length := p.Sound.DurationS()
	if length < minDrawS {
		return nil, fmt.Errorf("the sound is too short to draw: %.4g s, at least %g s are needed", length, minDrawS)
	}
	p.fillDefaults()
	f := p.frame(length)
	win := p.windows()
	x := make([]float64, p.Sound.Frames())
	samples.Scrub(x, p.Sound.Mono()) // one broken sample must not blot out a window
	g := levels(x, p.Sound.RateHz, win, f.hz, rasterRows)
	topDB := p.topDB(g)
	bottomDB := topDB - p.RangeDB
	img, err := g.raster(bottomDB, topDB)
	if err != nil {
		return nil, err
	}
	c := &canvas{w: picW, h: f.height, title: p.Title, desc: p.describe(f, bottomDB, topDB)}
	p.heading(c, win)
	levelKey(c, bottomDB, topDB, math.IsInf(g.top(), -1))
	fmt.Fprintf(&c.buf, `<image x="%s" y="%s" width="%s" height="%s" preserveAspectRatio="none" href="data:image/png;base64,%s"/>`+"\n",
		num(plotX0), num(plotY0), num(plotX1-plotX0), num(plotY1-plotY0), base64.StdEncoding.EncodeToString(img))
	axes(c, f.time, f.hz, "frequency in Hz", 8, p.Track == nil)
	if p.Track != nil {
		p.drawOrders(c, f)
		p.drawRevs(c, f)
	}
	return c, nil
}

func (p *Spectrogram) fillDefaults() {
	if p.RangeDB <= 0 {
		p.RangeDB = 75
	}
	if p.Tracked == "" {
		p.Tracked = "tracked"
	}
	if p.Track != nil && p.Orders == nil {
		p.Orders = OrdersOf(p.Layout)
	}
}

// frame holds the scales of one picture.
type frame struct {
	time, hz, rpm, conf scale
	height              float64
}

func (p Spectrogram) frame(length float64) frame {
	f := frame{
		time: scale{from: 0, to: length, a: plotX0, b: plotX1},
		hz:   scale{from: 0, to: p.topHz(), a: plotY1, b: plotY0},
	}
	if p.LogHz {
		f.hz.log = true
		f.hz.from = math.Min(20, f.hz.to/10)
	}
	bottom := plotY1
	if p.Track != nil {
		lo, hi := p.revRange()
		f.rpm = scale{from: lo, to: hi, a: bottom + panelGap + rpmHeight, b: bottom + panelGap}
		bottom = f.rpm.a
		if p.Track.Confidence != nil {
			f.conf = scale{from: 0, to: 1, a: bottom + panelGap + confHeight, b: bottom + panelGap}
			bottom = f.conf.a
		}
	}
	f.height = bottom + 48
	return f
}

// revs returns the known revs in ascending order.
func (p Spectrogram) revs() []float64 {
	var known []float64
	if p.Track != nil {
		for _, r := range p.Track.RPM {
			if r > 0 {
				known = append(known, r)
			}
		}
	}
	sort.Float64s(known)
	return known
}

// revRange gives the panel of revs some air and round ends.
func (p Spectrogram) revRange() (lo, hi float64) {
	known := p.revs()
	if len(known) == 0 {
		return 0, 1000
	}
	lo, hi = known[0], known[len(known)-1]
	// A steady hold must look steady: at least a tenth of the revs is shown.
	if air := 0.1*hi - (hi - lo); air > 0 {
		lo, hi = lo-air/2, hi+air/2
	}
	step := roundStep((hi - lo) / 4)
	return math.Floor(lo/step) * step, math.Ceil(hi/step) * step
}

func (p Spectrogram) topHz() float64 {
	nyquist := float64(p.Sound.RateHz) / 2
	if p.MaxHz > 0 {
		return math.Min(p.MaxHz, nyquist)
	}
	top := 1500.0
	if known := p.revs(); len(known) > 0 && len(p.Orders) > 0 {
		top = 0
		for _, o := range p.Orders {
			top = math.Max(top, 1.3*crank.OrderHz(o.Order, known[len(known)-1]))
		}
		top = math.Max(600, math.Min(3000, math.Ceil(top/50)*50))
	}
	return math.Min(top, nyquist)
}

// topDB rounds the loudest level up to 5 dB. What is quieter than -120 dB is
// drawn as silence.
func (p Spectrogram) topDB(g grid) float64 {
	return math.Max(math.Ceil(g.top()/5)*5, -120+p.RangeDB)
}

func (p Spectrogram) heading(c *canvas, win windows) {
	c.text(plotX0, 26, fit(p.Title, 17, picW-plotX0-20), style{size: 17, weight: "600"})
	sub := "Level over time and frequency, window " + win.words(p.Sound.RateHz)
	if p.Track != nil && len(p.Orders) > 0 {
		sub += "; lines: orders of the " + p.Tracked + " revs"
	}
	c.text(plotX0, 45, sub, style{fill: softInk})
}

// levelKey draws the meaning of the colours.
func levelKey(c *canvas, bottomDB, topDB float64, silent bool) {
	const w, h, y, parts = 180.0, 9.0, 56.0, 36
	lo := label(bottomDB) + " dB"
	x := plotX0 + textWidth(lo, 11) + 6
	c.text(plotX0, y+h, lo, style{size: 11, fill: softInk})
	for i := range parts {
		col := levelColour((float64(i) + 0.5) / parts)
		c.rect(x+w*float64(i)/parts, y, w/parts+0.3, h, fmt.Sprintf("#%02x%02x%02x", col.R, col.G, col.B), "none")
	}
	c.rect(x, y, w, h, "none", gridInk)
	words := label(topDB) + " dB (0 dB: a sine at full scale)"
	if silent {
		words += "; this sound is silent"
	}
	c.text(x+w+6, y+h, words, style{size: 11, fill: softInk})
}

// axes draws a frame, ticks and labels; the time labels only where wanted.
func axes(c *canvas, t, v scale, name string, n int, withTime bool) {
	for _, tick := range v.ticks(n) {
		y := v.at(tick)
		c.line(t.a-5, y, t.a, y, ink, 1, "")
		c.line(t.a, y, t.b, y, gridInk, 0.4, "1 4")
		c.text(t.a-8, y+4, label(tick), style{at: right})
	}
	c.rect(t.a, v.b, t.b-t.a, v.a-v.b, "none", ink)
	if name != "" {
		c.textUp(18, (v.a+v.b)/2, name, style{fill: softInk})
	}
	timeTicks(c, t, v, withTime)
}

func timeTicks(c *canvas, t, v scale, withLabels bool) {
	for _, tick := range t.ticks(10) {
		x := t.at(tick)
		c.line(x, v.a, x, v.a+5, ink, 1, "")
		if withLabels {
			c.text(x, v.a+19, label(tick), style{at: middle})
		}
	}
	if withLabels {
		c.text((t.a+t.b)/2, v.a+37, "time in s", style{at: middle, fill: softInk})
	}
}
