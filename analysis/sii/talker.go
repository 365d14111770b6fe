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
	weight Levels               // I·L: what the band is worth
	topDB  Levels               // E + 15: a disturbance here and over leaves nothing
	self   Levels               // self-masking V as natural logarithm of power
	floor  Levels               // power of the internal noise, or of the disturbance under which K stays 1
	cut    Levels               // natural logarithm under which a spread term cannot matter
	least  [MaskerBands]float64 // smallest cut of the speech bands above a masker band
}

// Hear prepares a speech spectrum (spectrum levels in dB, as in [Index]).
func (l *Listener) Hear(speech Levels) Talker {
	var t Talker
	for i, e := range speech {
		t.weight[i] = l.importance[i] * levelDistortion(e, standardSpeech[Normal][i])
		t.topDB[i] = e + peaksDB
		t.self[i] = max((e-selfMaskingDB), silentDB) * nepers
		// Any disturbance under E - 15 gives K = 1, so it may be raised to
		// that level without changing the result.
		floorDB := max(l.internalDB[i], e+peaksDB-rangeDB, NoNoiseDB)
		t.floor[i] = math.Exp(floorDB * nepers)
		t.cut[i] = floorDB*nepers - negligible
	}
	least := math.Inf(1)
	for k := MaskerBands - 1; k >= 0; k-- {
		t.least[k] = least // bands above k only
		if i := k - LowBands; i >= 0 {
			least = min(least, t.cut[i])
		}
	}
	return t
}

const (
	nepers     = math.Ln10 / 10 // dB to natural logarithm of power
	negligible = 23             // e^-23 = 1e-10; 26 such terms change a level by 1e-8 dB
	silentDB   = -300           // stands for -Inf, so that no product becomes NaN
)

// Index returns the index, 0..1, against a masker in dB, as [IndexMasked]
// does, to within 1e-8.
func (t *Talker) Index(maskerDB *Masker) float64 {
	var p Masker
	for k, db := range maskerDB {
		p[k] = math.Exp(db * nepers)
	}
	return t.IndexPower(&p)
}
