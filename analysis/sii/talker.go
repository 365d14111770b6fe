package sii

import "math"

// Listener is an importance function and a hearing threshold, prepared.
type Listener struct {
	importance Levels
	internalDB Levels // X, equation (10)
}

// NewListener prepares a listener. threshold as in [Index].
func NewListener(importance Importance, threshold Levels) *Listener {
	l := &Listener{importance: importance.Band}
	for i := range l.internalDB {
		l.internalDB[i] = internalNoise[i] + threshold[i]
	}
	return l
}

// Talker is one speech spectrum before one listener: everything in the index
// that does not depend on the noise. It is a plain value; its methods may be
// called from several goroutines at once and do not allocate.
type Talker struct {
	weight Levels // I·L: what the band is worth
	topDB  Levels // E + 15: a disturbance here and over leaves nothing
	top    Levels // the same as power
	self   Levels // self-masking V, power
	floor  Levels // power of the least disturbance that can make a difference
	least  Masker // power under which spread from a masker band cannot matter any more
}

const (
	nepers     = math.Ln10 / 10 // dB to natural logarithm of power
	negligible = 1e-10          // 26 such terms change a level by 1e-8 dB
	loudest    = 1e30           // 300 dB, stands for +Inf
	softest    = 1e-30          // stands for -Inf
)

// Hear prepares a speech spectrum (spectrum levels in dB, as in [Index]).
func (l *Listener) Hear(speech Levels) Talker {
	var t Talker
	power := func(db float64) float64 { return min(max(math.Exp(db*nepers), softest), loudest) }
	for i, e := range speech {
		t.weight[i] = l.importance[i] * levelDistortion(e, standardSpeech[Normal][i])
		t.topDB[i] = e + peaksDB
		t.top[i] = power(t.topDB[i])
		t.self[i] = power(e - selfMaskingDB)
		// Any disturbance under E - 15 gives K = 1, so it may be raised to
		// that level without changing the result.
		t.floor[i] = power(max(l.internalDB[i], e+peaksDB-rangeDB, NoNoiseDB))
		if math.IsNaN(t.floor[i]) {
			t.topDB[i] = t.floor[i] // carries NaN into the index
		}
	}
	least := loudest
	for k := MaskerBands - 1; k >= 0; k-- {
		t.least[k] = least * negligible
		if i := k - LowBands; i >= 0 {
			least = min(least, t.floor[i])
		}
	}
	return t
}

// Index is [Talker.IndexPower] for a masker in dB; -Inf is silence.
func (t *Talker) Index(maskerDB *Masker) float64 {
	var p Masker
	for k, db := range maskerDB {
		p[k] = math.Exp(db * nepers)
	}
	return t.IndexPower(&p)
}
