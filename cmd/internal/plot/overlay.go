package plot

import (
	"fmt"
	"math"
	"sort"
	"strings"

	"tachbench/samples/crank"
)

// lineEnd is where an order line was last seen.
type lineEnd struct {
	x, y float64
	name string
	pen  pen
}

// drawOrders draws each order where the revs are known and labels it beside
// the plot, level with the end of its line.
func (p Spectrogram) drawOrders(c *canvas, f frame) {
	var ends []lineEnd
	for i, o := range p.Orders {
		x, y := p.orderLine(o, f)
		d := trace(x, y)
		pn := penOf(i)
		c.path(d, "halo", paper, 3.4, "")
		c.path(d, "order", pn.colour, 1.6, pn.dash)
		if last := lastFinite(x, y); last >= 0 {
			ends = append(ends, lineEnd{x[last], y[last], o.Label, pn})
		}
	}
	sort.SliceStable(ends, func(i, j int) bool { return ends[i].y < ends[j].y })
	want := make([]float64, len(ends))
	for i, e := range ends {
		want[i] = e.y
	}
	for i, y := range spread(want, labelGap, plotY0+labelGap/2, plotY1-labelGap/2) {
		e := ends[i]
		if e.x < plotX1-2 { // the line stops early: a thread leads to its label
			c.line(e.x, e.y, plotX1, e.y, e.pen.colour, 0.6, "1 3")
		}
		c.path(fmt.Sprintf("M%s %sL%s %sL%s %s", num(plotX1), num(e.y), num(labelX-2), num(y), num(labelX+22), num(y)),
			"key", e.pen.colour, 1.6, e.pen.dash)
		c.text(labelX+27, y+4, fit(e.name, 12, picW-labelX-31), style{})
	}
}

// orderLine returns an order in picture units, cut at the frame.
func (p Spectrogram) orderLine(o Order, f frame) (x, y []float64) {
	t := p.Track
	var ts, hz []float64
	for i := range t.Len() {
		if s := t.TimeS(i); s >= 0 && s <= f.time.to {
			ts = append(ts, f.time.at(s))
			hz = append(hz, crank.OrderHz(o.Order, t.RPM[i]))
		}
	}
	x, hz = clip(ts, hz, f.hz.from, f.hz.to)
	y = make([]float64, len(hz))
	for i, v := range hz {
		y[i] = f.hz.at(v)
	}
	return x, y
}

func lastFinite(x, y []float64) int {
	for i := len(x) - 1; i >= 0; i-- {
		if finite(x[i], y[i]) {
			return i
		}
	}
	return -1
}

// drawRevs draws the revs and, if there is one, the confidence beneath.
func (p Spectrogram) drawRevs(c *canvas, f frame) {
	hasConf := p.Track.Confidence != nil
	axes(c, f.time, f.rpm, "RPM", 4, !hasConf)
	x, y := p.trackLine(p.Track.RPM, f.time, f.rpm)
	c.path(trace(x, y), "revs", ink, 1.6, "")
	if lastFinite(x, y) < 0 {
		c.text((plotX0+plotX1)/2, (f.rpm.a+f.rpm.b)/2+4, "no engine could be told in this sound", style{at: middle, fill: softInk})
	} else {
		c.text(labelX, (f.rpm.a+f.rpm.b)/2+4, fit(p.Tracked+" revs", 12, picW-labelX-6), style{})
	}
	if hasConf {
		axes(c, f.time, f.conf, "", 1, true)
		x, y := p.trackLine(p.Track.Confidence, f.time, f.conf)
		c.path(trace(x, y), "confidence", "#0072B2", 1.4, "")
		c.text(labelX, (f.conf.a+f.conf.b)/2+4, "confidence, 0 to 1", style{})
	}
}

func (p Spectrogram) trackLine(v []float64, t, s scale) (x, y []float64) {
	for i := range p.Track.Len() {
		at := p.Track.TimeS(i)
		if at < 0 || at > t.to {
			continue
		}
		x = append(x, t.at(at))
		y = append(y, s.at(v[i]))
	}
	return x, y
}

// describe puts the picture into words for those who cannot see it.
func (p Spectrogram) describe(f frame, bottomDB, topDB float64) string {
	var b strings.Builder
	fmt.Fprintf(&b, "Spectrogram of %.2f s from %.0f to %.0f Hz; colours run from %.0f dB (paper white) to %.0f dB (dark), 0 dB being a sine at full scale.",
		f.time.to, f.hz.from, f.hz.to, bottomDB, topDB)
	if p.Track == nil {
		return b.String()
	}
	known := p.revs()
	if len(known) == 0 {
		b.WriteString(" No engine could be told in this sound, so no orders are drawn.")
		return b.String()
	}
	fmt.Fprintf(&b, " The %s revs lie between %.0f and %.0f RPM and are known at %d of %d points.",
		p.Tracked, known[0], known[len(known)-1], len(known), p.Track.Len())
	var names []string
	for _, o := range p.Orders {
		names = append(names, o.Label)
	}
	if len(names) > 0 {
		b.WriteString(" Lines drawn over it: " + strings.Join(names, ", ") + ".")
	}
	if n, sum := len(p.Track.Confidence), 0.0; n > 0 {
		for _, v := range p.Track.Confidence {
			if !math.IsNaN(v) {
				sum += v
			}
		}
		fmt.Fprintf(&b, " Mean confidence %.2f.", sum/float64(n))
	}
	return b.String()
}
