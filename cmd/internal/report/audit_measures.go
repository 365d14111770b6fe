package report

import (
	"math"

	"tachbench/analysis/loudness"
	"tachbench/analysis/peak"
	"tachbench/analysis/speech"
	"tachbench/mixplan/audit"
	"tachbench/samples"
)

// measures are the levels of a sound or of one channel; NaN where there is
// none.
type measures struct {
	integrated, rangeLU, momentary, shortTerm float64 // of a sound only
	truePeak, samplePeak, rms, crest, dc      float64
	speech, noise, overNoise                  float64 // of callouts only

	absent map[string]string // why a level is missing, by its JSON key
}

func measuresOf(s *audit.Sound) measures {
	m := measures{absent: map[string]string{}}
	read := func(key string, r loudness.Reading) float64 {
		if !r.OK() {
			m.absent[key] = r.Absent
			return math.NaN()
		}
		return r.Value
	}
	m.integrated = read("integrated_lufs", s.Levels.IntegratedLUFS)
	m.rangeLU = read("loudness_range_lu", s.Levels.RangeLU)
	m.momentary = read("momentary_max_lufs", s.Levels.MomentaryMaxLUFS)
	m.shortTerm = read("short_term_max_lufs", s.Levels.ShortTermMaxLUFS)
	m.truePeak = known(s.Peaks.TruePeakDBTP())
	m.samplePeak = known(s.Peaks.SamplePeakDBFS())
	m.rms, m.crest = known(s.RMSDBFS()), known(s.CrestDB())
	for key, v := range map[string]float64{"true_peak_dbtp": m.truePeak, "sample_peak_dbfs": m.samplePeak, "rms_dbfs": m.rms, "crest_db": m.crest} {
		if math.IsNaN(v) {
			m.absent[key] = loudness.ReasonSilent
		}
	}
	m.speech, m.noise, m.overNoise = math.NaN(), math.NaN(), math.NaN()
	if s.Speech != nil {
		voice := func(key string, r speech.Reading) float64 { return read(key, loudness.Reading(r)) }
		m.speech = voice("active_speech_level_dbfs", s.Speech.ActiveDB)
		m.noise = voice("noise_floor_dbfs", s.Speech.NoiseFloorDB)
		m.overNoise = voice("speech_to_noise_db", s.Speech.SpeechToNoise)
	}
	for _, ch := range s.Peaks.Channels {
		if math.Abs(ch.DC) > math.Abs(m.dc) {
			m.dc = ch.DC
		}
	}
	return m
}

func channelMeasures(ch peak.Channel) measures {
	return measures{
		truePeak: known(ch.TruePeakDBTP()), samplePeak: known(ch.SamplePeakDBFS()),
		rms: known(samples.AmplitudeDB(ch.RMS), ch.RMS > 0), crest: known(ch.CrestDB()), dc: ch.DC,
	}
}

func known(v float64, ok bool) float64 {
	if !ok {
		return math.NaN()
	}
	return v
}
