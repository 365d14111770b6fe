package plot

import (
	"image/color"
	"math"
)

// stop is a fixed point of the level colours.
type stop struct {
	at      float64
	r, g, b float64 // sRGB, 0..255
}

// The level colours: paper, slate, night blue, and a dark red-brown for the
// loudest tenth. Lightness falls all the way, so that a grey print and every
// kind of colour sight keep the order of levels; hue only adds to it.
var levelStops = []stop{
	{0.00, 255, 254, 251},
	{0.25, 213, 220, 229},
	{0.50, 146, 163, 189},
	{0.72, 83, 102, 143},
	{0.88, 47, 54, 92},
	{1.00, 62, 10, 16},
}

// levelColour returns the colour of a level, 0 (floor) .. 1 (top).
func levelColour(t float64) color.RGBA {
	t = math.Max(0, math.Min(1, t))
	for i := 1; i < len(levelStops); i++ {
		lo, hi := levelStops[i-1], levelStops[i]
		if t <= hi.at {
			f := (t - lo.at) / (hi.at - lo.at)
			mix := func(a, b float64) uint8 { return uint8(math.Round(a + f*(b-a))) }
			return color.RGBA{mix(lo.r, hi.r), mix(lo.g, hi.g), mix(lo.b, hi.b), 255}
		}
	}
	panic("plot: the level colours must end at 1")
}

// pen tells lines apart by dash as well as by colour.
type pen struct{ colour, dash string }

// The first four colours of Okabe and Ito's set that keep 3:1 on white
// (computed; the rest of the set does not), each with its own dash.
var pens = []pen{
	{"#D55E00", ""},
	{"#009E73", "9 4"},
	{"#0072B2", "11 4 2.5 4"},
	{"#CC79A7", "4 3.5"},
}

func penOf(i int) pen { return pens[i%len(pens)] }
