package ear

import (
	"fmt"
	"math"

	"tachbench/samples/sheet"
)

// What is assumed when a sheet has no [listening]. The hall is the "typical"
// preset of the reference measurements (arcades in play are 80 to 90 dBA), the
// low cut that of a 3 to 4 inch speaker (120 to 200 Hz, common practice, no
// source), the level our judgement of a machine that can be heard there.
const (
	DefaultLevelAtEarDB = 82
	DefaultNoiseDBA     = 80
	DefaultLowCutHz     = 150
)

const pinkDBFS = -20 // of the calibration noise, RMS

// Chain is the way from the file to the player's ear.
type Chain struct {
	GainDB Levels // dB SPL at the ear of a band at 0 dBFS RMS in the file
	Hall   Levels // the hall's noise at the ear, dB SPL

	// FullScaleDB is the dB SPL at the ear that 0 dBFS RMS has where the
	// cabinet's response is 0 dB: GainDB without the response.
	FullScaleDB float64

	// Assumed says in whole sentences what nobody told and was assumed. The
	// report prints each of them where it cannot be missed.
	Assumed []string

	cabinet response
}

// New returns the chain of a sheet's [listening], or the stated defaults for
// nil. An error is one line without the file's name.
func New(l *sheet.Listening) (*Chain, error) {
	c := &Chain{}
	if l == nil {
		cut := float64(DefaultLowCutHz)
		l = &sheet.Listening{LevelAtEarDB: DefaultLevelAtEarDB, NoiseDBA: DefaultNoiseDBA, NoiseShape: Crowd, SpeakerLowCutHz: &cut}
		c.Assumed = append(c.Assumed, fmt.Sprintf("The sheet has no [listening]: every level at the ear is assumed, not known "+
			"(%d dB SPL at the ear for pink noise at %d dBFS RMS, a hall of %d dBA like a crowd, a speaker that falls below %d Hz). "+
			"Measure both levels at the player's ear and write them down.",
			DefaultLevelAtEarDB, pinkDBFS, DefaultNoiseDBA, DefaultLowCutHz))
	} else if l.SpeakerLowCutHz == nil && l.SpeakerResponse == nil {
		c.Assumed = append(c.Assumed, "The sheet gives neither speaker_low_cut_hz nor speaker_response: the cabinet is taken as flat from 20 Hz to 20 kHz, "+
			"so low notes mask here that a small speaker would not play.")
	}
	if math.IsNaN(l.LevelAtEarDB) || math.IsInf(l.LevelAtEarDB, 0) {
		return nil, fmt.Errorf("level_at_ear_db must be a finite level, not %g", l.LevelAtEarDB)
	}
	if l.SpeakerLowCutHz != nil {
		if c.cabinet.lowCutHz = *l.SpeakerLowCutHz; !(c.cabinet.lowCutHz > 0) || math.IsInf(c.cabinet.lowCutHz, 0) {
			return nil, fmt.Errorf("speaker_low_cut_hz must be over 0, not %g", c.cabinet.lowCutHz)
		}
	}
	for i, p := range l.SpeakerResponse {
		if !(p.Hz > 0) || math.IsInf(p.Hz, 0) || math.IsNaN(p.DB) || math.IsInf(p.DB, 0) || i > 0 && p.Hz <= l.SpeakerResponse[i-1].Hz {
			return nil, fmt.Errorf("speaker_response must have finite values and ascending frequencies over 0; row %d (%g Hz, %g dB) has not", i+1, p.Hz, p.DB)
		}
	}
	c.cabinet.points = l.SpeakerResponse

	hall, err := hallOf(l)
	if err != nil {
		return nil, err
	}
	c.Hall = hall

	var shape Levels
	for b := range shape {
		shape[b] = c.cabinet.bandDB(b)
	}
	c.FullScaleDB = l.LevelAtEarDB - shape.Plus(pinkBandDBFS).DB()
	c.GainDB = shape.Plus(c.FullScaleDB)
	return c, nil
}

// pinkBandDBFS is the level of one band of the calibration noise.
var pinkBandDBFS = pinkDBFS - 10*math.Log10(Bands)

// AtEar returns the dB SPL at the ear of a sound with the given band levels
// in dBFS RMS.
func (c *Chain) AtEar(bandDBFS Levels) Levels {
	for b, gain := range c.GainDB {
		bandDBFS[b] += gain
	}
	return bandDBFS
}

// PinkAtEar returns the calibration noise at the ear, dB SPL. Its DB is the
// sheet's level_at_ear_db; its DBA and DBC are what a meter with those
// weightings shows.
func (c *Chain) PinkAtEar() Levels { return c.GainDB.Plus(pinkBandDBFS) }

// WithHall returns a copy of the chain in a hall that is louder by db.
func (c *Chain) WithHall(db float64) *Chain {
	out := *c
	out.Hall = c.Hall.Plus(db)
	return &out
}
