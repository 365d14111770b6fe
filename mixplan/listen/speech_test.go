package listen_test

import (
	"math"
	"testing"

	"tachbench/analysis/sii"
	"tachbench/mixplan"
	"tachbench/mixplan/ear"
	"tachbench/mixplan/meet"
	"tachbench/mixplan/render"
	"tachbench/samples"
)

// The index of the callout is that of package sii over the stems of package
// render, measured as a whole: plain, planned, and with the bed shut.
func TestIndexOfACallout(t *testing.T) {
	d := machine(t, true, "")
	for _, k := range []struct {
		what    string
		planned bool
		shut    bool
	}{{"plain", false, false}, {"planned", true, false}, {"bed shut", false, true}} {
		b := d.bench(t)
		var p *mixplan.Plan
		if k.planned {
			p = plan()
			setPlan(t, b, p)
			b.Planned(true)
		}
		b.Mute("music", k.shut)
		hear(b, 0.1)
		play(t, b, d.scene, false)
		hear(b, 2)
		if s := b.Snapshot(); s.Callout != "callout.wav" || s.SIIDone || math.IsNaN(s.SII) {
			t.Errorf("%s: %q %v %g", k.what, s.Callout, s.SIIDone, s.SII)
		}
		hear(b, 1)
		s := b.Snapshot()
		_, stems, _, err := render.Sound(t.Context(), d.scene, d.eng, render.Options{Plan: p, Seed: 5})
		if err != nil {
			t.Fatal(err)
		}
		a := meet.NewAnalyser(rate)
		rest := make([]float64, d.scene.Frames)
		for name, stem := range stems {
			if name == "callout" || k.shut && name == "music" {
				continue
			}
			for i, v := range stem.Mono() {
				rest[i] += v
			}
		}
		callout := stems["callout"].Mono()[rate*3/2 : rate*5/2]
		var long ear.Levels
		frames := a.Frames(callout)
		for _, f := range frames {
			for b := range long {
				long[b] += f[b] / float64(len(frames))
			}
		}
		for b := range long {
			long[b] = samples.PowerDB(long[b]) + d.chain.GainDB[b]
		}
		masker := meet.AtEar(a.Frames(rest[rate*3/2:rate*5/2]), d.chain)
		hall := d.chain.Hall.MaskerPower()
		for i := range masker {
			for b := range hall {
				masker[i][b] += hall[b]
			}
		}
		want := sii.Extended(sii.NewListener(sii.AverageSpeech, sii.Levels{}), []sii.Levels{long.SpeechSpectrum()}, masker, nil).Mean
		t.Logf("%s: %.4f, as a whole %.4f", k.what, s.SII, want)
		if !s.SIIDone || math.Abs(s.SII-want) > 0.02 || want < 0.1 || want > 0.9 {
			t.Errorf("%s: %.4f (done %v), want %.4f", k.what, s.SII, s.SIIDone, want)
		}
	}
}

// Third octaves at the ear: calibration noise reads as the sheet says.
func TestLevelsAtTheEar(t *testing.T) {
	d := machine(t, false, "")
	b := d.bench(t)
	play(t, b, d.scene, false)
	hear(b, 1.2)
	s := b.Snapshot()
	// White noise of full scale 0.05 in both channels, uncorrelated: its mono
	// has half the power. A band of a third octave has its share of it.
	_, stems, _, err := render.Sound(t.Context(), d.scene, nil, render.Options{})
	if err != nil {
		t.Fatal(err)
	}
	r := samples.RMS(stems["music"].Mono()[rate/2 : rate])
	lo, hi := ear.EdgesHz(17)
	want := samples.AmplitudeDB(r) + samples.PowerDB((hi-lo)/(rate/2)) + d.chain.GainDB[17]
	if got := s.RestDB[17]; math.Abs(got-want) > 2 { // 230 Hz of noise for 170 ms: a spread of 0.7 dB
		t.Errorf("1 kHz at %.1f dB SPL, want %.1f", got, want)
	}
	if !math.IsInf(s.CalloutDB[17], -1) || s.HallDB != d.chain.Hall {
		t.Errorf("callouts at %g", s.CalloutDB[17])
	}
}
