package render_test

import (
	"errors"
	"math"
	"testing"

	"tachbench/mixplan/render"
	"tachbench/samples/tone"
)

// A 1 kHz sine at -20 dBFS peak in one channel is -23.0 LUFS, in both -20.0
// (BS.1770-5: 0 dBFS in one front channel reads -3.01 LKFS); its peaks are
// -20.
func TestMeterReadsALevel(t *testing.T) {
	s := tone.Sine(48000, 2, 1000, 0.1, 0)
	for channels, want := range map[int]float64{1: -23.01, 2: -20} {
		m, err := render.NewMeter(48000, channels)
		if err != nil {
			t.Fatal(err)
		}
		block := [][]float64{s.Chans[0], s.Chans[0]}[:channels]
		if err := m.Write(block); err != nil {
			t.Fatal(err)
		}
		l := m.Levels()
		if math.Abs(l.IntegratedLUFS-want) > 0.05 || math.Abs(l.SamplePeakDBFS+20) > 0.01 || math.Abs(l.TruePeakDBTP+20) > 0.05 || l.NotLoud != "" {
			t.Errorf("%d channels: %+v", channels, l)
		}
		if l.TurnDownDB() != 0 {
			t.Errorf("turned down by %g dB", l.TurnDownDB())
		}
	}
	if _, err := render.NewMeter(4000, 1); err == nil {
		t.Error("4 kHz, no error")
	}
}

func TestMeterOfNothing(t *testing.T) {
	m, err := render.NewMeter(48000, 2)
	if err != nil {
		t.Fatal(err)
	}
	l := m.Levels()
	if !math.IsNaN(l.SamplePeakDBFS) || !math.IsNaN(l.TruePeakDBTP) || !math.IsNaN(l.IntegratedLUFS) || l.NotLoud == "" || l.TurnDownDB() != 0 {
		t.Errorf("%+v", l)
	}
}

func TestOverFullScaleIsTurnedDownToTheCeiling(t *testing.T) {
	if g := (render.Levels{TruePeakDBTP: 2.5}).TurnDownDB(); g != -3.5 {
		t.Errorf("%g dB", g)
	}
	if g := (render.Levels{TruePeakDBTP: 0}).TurnDownDB(); g != 0 {
		t.Errorf("%g dB", g)
	}
}

func TestTeeStopsAtTheFirstError(t *testing.T) {
	full := errors.New("disk full")
	calls := 0
	count := render.SinkFunc(func([][]float64) error { calls++; return nil })
	fail := render.SinkFunc(func([][]float64) error { return full })
	if err := render.Tee(count, fail, count).Write(nil); !errors.Is(err, full) || calls != 1 {
		t.Errorf("%v after %d calls", err, calls)
	}
}
