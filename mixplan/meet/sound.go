package meet

import (
	"math"

	"tachbench/analysis/loudness"
	"tachbench/analysis/peak"
	"tachbench/analysis/sii"
	"tachbench/analysis/speech"
	"tachbench/mixplan/ear"
	"tachbench/mixplan/scene"
	"tachbench/samples"
)

// BedS is the length from which a sound is taken as a bed that loops, such as
// music; a shorter one is an event. Our judgement, no source.
const BedS = 8

// Pauses of at most hangoverS between speech are speech, and a frame is
// speech down to marginDB under the active level: ITU-T P.56, method B.
const (
	hangoverS = 0.2
	marginDB  = 15.9
)

// Sound is one sound at the player's ear, before any trim unless Apply was
// called.
type Sound struct {
	Path     string // relative to the sheet; for the engine "engine at N rpm"
	Category string
	StandIn  bool
	OneWord  bool    // a callout of a single word
	RPM      float64 // of an engine step, else 0

	DurationS float64
	LUFS      float64 // integrated, of the file as it is; momentary maximum if shorter than a gating block; NaN without
	PeakDBTP  float64 // true peak of the file; -Inf if silent
	Unusable  int64   // broken samples, heard as silence

	// Power is masker power per hertz at the ear re (20 µPa)², a frame each.
	Power []sii.Masker
	// Long is the band levels over the whole sound at the ear, dB SPL.
	Long ear.Levels

	// Spans is when others yield to it, seconds from its start; an engine step
	// has none, it sounds all the time.
	Spans []scene.Span

	// Of callouts only. Active marks the frames with speech; there is none in
	// silence. Speech is the spectrum level over them, dB SPL per hertz.
	Active []bool
	Speech sii.Levels
	// ActiveDBA is the A-weighted level of active frames at the ear.
	ActiveDBA float64

	appliedDB float64
}

// Silent reports whether nothing of a sound arrives.
func (s *Sound) Silent() bool { return math.IsInf(s.PeakDBTP, -1) }

// Bed reports whether a sound is taken as a loop.
func (s *Sound) Bed() bool { return s.DurationS >= BedS || s.RPM > 0 }

// measure fills in everything about a sound at the machine's rate.
func (a *Analyser) measure(s *Sound, src *samples.Sound, chain *ear.Chain, spoken bool) error {
	clean := make([][]float64, src.Channels())
	for c, ch := range src.Chans {
		clean[c] = make([]float64, len(ch))
		s.Unusable += int64(samples.Scrub(clean[c], ch))
	}
	src = &samples.Sound{RateHz: src.RateHz, Chans: clean, Mask: src.Mask}
	s.DurationS = src.DurationS()
	loud, err := loudness.New(src.RateHz, src.Channels(), src.Mask)
	if err != nil {
		return err
	}
	loud.Write(src.Chans)
	r := loud.Result()
	s.LUFS = r.IntegratedLUFS.Value
	pk, err := peak.New(src.RateHz, src.Channels())
	if err != nil {
		return err
	}
	pk.Write(src.Chans)
	s.PeakDBTP = math.Inf(-1)
	if v, ok := pk.Result().TruePeakDBTP(); ok {
		s.PeakDBTP = v
	}
	x := scene.Fold(src).Mono() // as the machine plays it
	frames := a.Frames(x)
	s.Power, s.Long = AtEar(frames, chain), longTerm(frames, chain)
	if !spoken {
		return nil
	}
	s.Active = make([]bool, len(frames))
	if len(s.Spans) > 0 { // else too soft for anybody to yield to it
		if s.Active, err = active(x, a.rateHz, a.step); err != nil {
			return err
		}
	}
	s.hear(frames, chain)
	return nil
}

// AtEar turns frames re full scale into masker power per hertz at the ear, as
// sii.Talker.IndexPower wants it.
func AtEar(frames []ear.Levels, chain *ear.Chain) []sii.Masker {
	var gain sii.Masker
	for k := range gain {
		gain[k] = samples.DBPower(chain.GainDB[k] - sii.MaskerBandwidthDB[k])
	}
	out := make([]sii.Masker, len(frames))
	for i := range frames {
		for k := range out[i] {
			out[i][k] = frames[i][k] * gain[k]
		}
	}
	return out
}

// longTerm returns the mean of frames at the ear, dB SPL a band.
func longTerm(frames []ear.Levels, chain *ear.Chain) (l ear.Levels) {
	for i := range frames {
		for b, p := range frames[i] {
			l[b] += p
		}
	}
	for b, p := range l {
		l[b] = samples.PowerDB(p/float64(max(1, len(frames)))) + chain.GainDB[b]
	}
	return l
}

// hear fills in the speech spectrum over active frames.
func (s *Sound) hear(frames []ear.Levels, chain *ear.Chain) {
	var spoken []ear.Levels
	for i, on := range s.Active {
		if on {
			spoken = append(spoken, frames[i])
		}
	}
	long := longTerm(spoken, chain)
	s.ActiveDBA = long.DBA()
	s.Speech = long.SpeechSpectrum()
}

// active marks the frames of x in which somebody speaks.
func active(x []float64, rateHz, step int) ([]bool, error) {
	m, err := speech.New(rateHz)
	if err != nil {
		return nil, err
	}
	m.Write(x)
	level := m.Result().ActiveDB
	out := make([]bool, (len(x)+step-1)/step)
	if !level.OK() {
		return out, nil
	}
	least := samples.DBPower(level.Value - marginDB)
	bridge := int(math.Round(hangoverS * float64(rateHz) / float64(step)))
	last := -1
	for i := range out {
		block := x[i*step : min(len(x), (i+1)*step)]
		r := samples.RMS(block)
		if r*r < least {
			continue
		}
		out[i] = true
		if last >= 0 && i-last-1 <= bridge {
			for j := last + 1; j < i; j++ {
				out[j] = true
			}
		}
		last = i
	}
	return out, nil
}

// Apply raises a sound by db for good.
func (s *Sound) Apply(db float64) {
	if db == 0 {
		return
	}
	s.appliedDB += db
	g := samples.DBPower(db)
	for i := range s.Power {
		for k := range s.Power[i] {
			s.Power[i][k] *= g
		}
	}
	s.LUFS += db
	s.PeakDBTP += db
	s.Long = s.Long.Plus(db)
	for i := range s.Speech {
		s.Speech[i] += db
	}
	s.ActiveDBA += db
}

// AppliedDB returns by how much the sound was raised since it was read.
func (s *Sound) AppliedDB() float64 { return s.appliedDB }
