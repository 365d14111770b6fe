package listen

import (
	"math"

	"tachbench/mixplan/engine"
	"tachbench/samples/sheet"
	"tachbench/synth/note"
	"tachbench/synth/revs"
)

const (
	slideGlideS = 0.020 // time constant with which the engine follows the sliders
	handOverS   = 0.080 // from lever to slider and back
)

// hand is the live engine: one note that follows a lever through the crank
// model, or the sliders. The note asks it for revs and load at each of its
// ticks, so a move of the lever acts within a tick (16 frames) and half a
// millisecond of the model.
type hand struct {
	note  *note.Note
	model *revs.Model
	out   [2][]float64 // what the note plays, room for a chunk
	view  [][]float64

	lever           float64
	wantLn, wantTo  float64 // sliders: ln(RPM) and load
	slider          float64 // 0 the lever works it .. 1 the sliders do
	bySlider        bool
	ln, load, timeS float64 // where the sliders have brought it; time of the last tick
	soundLoad       float64
}

func newHand(eng *engine.Engine, sh *sheet.Sheet, seed uint64) (*hand, error) {
	m, err := engine.Crank(sh, seed)
	if err != nil {
		return nil, err
	}
	h := &hand{model: m, view: make([][]float64, eng.Bank.Channels)}
	h.note = note.New(eng.Bank, note.Options{Seed: seed, Source: h})
	for c := range h.out {
		h.out[c] = make([]float64, chunkFrames)
	}
	h.slide(sh.Engine.IdleRPM, revs.IdleLoad)
	h.ln, h.load = h.wantLn, h.wantTo
	return h, nil
}

func (h *hand) slide(rpm, load float64) { h.wantLn, h.wantTo = math.Log(rpm), load }

// At is asked by the note, in order of time.
func (h *hand) At(tS float64) (rpm, load float64) {
	dt := tS - h.timeS
	h.timeS = tS
	rpm, load = h.model.Step(dt, h.lever)
	k := 1 - math.Exp(-dt/slideGlideS)
	h.ln += k * (h.wantLn - h.ln)
	h.load += k * (h.wantTo - h.load)
	if h.bySlider {
		h.slider = min(1, h.slider+dt/handOverS)
	} else {
		h.slider = max(0, h.slider-dt/handOverS)
	}
	if h.slider > 0 {
		rpm = math.Exp(math.Log(rpm) + h.slider*(h.ln-math.Log(rpm)))
		load += h.slider * (h.load - load)
	}
	h.soundLoad = load
	return rpm, load
}

// play makes the next n frames of the note, both channels.
func (h *hand) play(n int) (left, right []float64) {
	for c := range h.view {
		h.view[c] = h.out[c][:n]
	}
	h.note.Fill(h.view)
	return h.out[0][:n], h.out[len(h.view)-1][:n]
}

// rest puts the engine back to idle while nobody hears it.
func (h *hand) rest() {
	h.model.Reset()
	h.slider = 0
	if h.bySlider {
		h.slider = 1
	}
	h.ln, h.load = h.wantLn, h.wantTo
}
