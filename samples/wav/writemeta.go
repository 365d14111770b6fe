package wav

import (
	"encoding/binary"
	"maps"
	"math"
	"slices"

	"tachbench/samples"
)

var le = binary.LittleEndian

// chunk appends a whole chunk with its pad byte.
func chunk(b []byte, id string, payload []byte) []byte {
	b = append(b, id...)
	b = le.AppendUint32(b, uint32(len(payload)))
	b = append(b, payload...)
	if len(payload)%2 == 1 {
		b = append(b, 0)
	}
	return b
}

func field(b []byte, text string) { copy(b, text) }

// bextPayload lays out EBU Tech 3285 version 2.
func bextPayload(bc *Broadcast, l *samples.Loudness) []byte {
	b := make([]byte, bextSize)
	le.PutUint16(b[bextVersion:], 2)
	if bc != nil {
		field(b, bc.Description)
		field(b[bextOriginator:], bc.Originator)
		field(b[bextReference:], bc.OriginatorReference)
		field(b[bextDate:], bc.Date)
		field(b[bextTime:], bc.Time)
		le.PutUint64(b[bextTimeRef:], bc.TimeReference)
		b = append(b, bc.CodingHistory...)
	}
	nan := math.NaN()
	if l == nil {
		l = &samples.Loudness{IntegratedLUFS: nan, RangeLU: nan, TruePeakDBTP: nan, MomentaryMaxLUFS: nan, ShortTermMaxLUFS: nan}
	}
	for i, v := range []float64{l.IntegratedLUFS, l.RangeLU, l.TruePeakDBTP, l.MomentaryMaxLUFS, l.ShortTermMaxLUFS} {
		raw := int16(loudnessUnset)
		if r := math.Round(v * 100); math.Abs(r) <= loudnessLimit { // false for NaN
			raw = int16(r)
		}
		le.PutUint16(b[bextLoudness+2*i:], uint16(raw))
	}
	return b
}

// smplPayload lays out forward loops. MIDI note 60 is no claim about pitch,
// only the value that plays the sound as it is.
func smplPayload(rateHz int, loops []samples.Loop, firstID int) []byte {
	b := make([]byte, smplHeadSize)
	le.PutUint32(b[8:], uint32(1_000_000_000/rateHz)) // sample period, ns
	le.PutUint32(b[12:], 60)
	le.PutUint32(b[28:], uint32(len(loops)))
	for i, l := range loops {
		b = le.AppendUint32(b, uint32(firstID+i))
		b = le.AppendUint32(b, 0) // forward
		b = le.AppendUint32(b, uint32(l.Start))
		b = le.AppendUint32(b, uint32(l.End-1)) // the last frame itself
		b = le.AppendUint32(b, 0)
		b = le.AppendUint32(b, uint32(l.Plays))
	}
	return b
}

func cuePayload(cues []samples.Cue) []byte {
	b := le.AppendUint32(nil, uint32(len(cues)))
	for i, c := range cues {
		b = le.AppendUint32(b, uint32(i+1))
		b = le.AppendUint32(b, uint32(c.Frame))
		b = append(b, "data"...)
		b = append(b, make([]byte, 8)...)
		b = le.AppendUint32(b, uint32(c.Frame))
	}
	return b
}

// adtlPayload holds labels and lengths; nil if no cue has either.
func adtlPayload(cues []samples.Cue) []byte {
	var b []byte
	for i, c := range cues {
		id := le.AppendUint32(nil, uint32(i+1))
		if c.Label != "" {
			b = chunk(b, "labl", append(append(id, c.Label...), 0))
		}
		if c.Length > 0 {
			p := le.AppendUint32(id, uint32(c.Length))
			p = append(p, "rgn "...)
			b = chunk(b, "ltxt", append(p, make([]byte, 8)...))
		}
	}
	if b == nil {
		return nil
	}
	return append([]byte("adtl"), b...)
}

func infoPayload(tags map[string]string) []byte {
	b := []byte("INFO")
	for _, key := range slices.Sorted(maps.Keys(tags)) {
		b = chunk(b, key, append([]byte(tags[key]), 0))
	}
	return b
}

// tail returns everything that follows the samples.
func (s *Spec) tail() []byte {
	var b []byte
	if len(s.Loops) > 0 {
		// Loop ids continue after the cue ids: a shared number would tie a
		// cue's label to the loop.
		b = chunk(b, "smpl", smplPayload(s.RateHz, s.Loops, len(s.Cues)+1))
	}
	if len(s.Cues) > 0 {
		b = chunk(b, "cue ", cuePayload(s.Cues))
		if p := adtlPayload(s.Cues); p != nil {
			b = chunk(b, "LIST", p)
		}
	}
	if len(s.Tags) > 0 {
		b = chunk(b, "LIST", infoPayload(s.Tags))
	}
	return b
}

// formatPayload lays out the `fmt ` chunk: plain, with an empty extension for
// plain floats, or extensible.
func (s *Spec) formatPayload() []byte {
	tag := uint16(tagPCM)
	if s.Float {
		tag = tagFloat
	}
	size := fmtPlainSize
	if s.extensible() {
		size = fmtExtensibleSize
	} else if s.Float {
		size = fmtFloatSize
	}
	b := make([]byte, size)
	le.PutUint16(b, tag)
	le.PutUint16(b[2:], uint16(s.Channels))
	le.PutUint32(b[4:], uint32(s.RateHz))
	le.PutUint32(b[8:], uint32(s.RateHz*s.frameBytes()))
	le.PutUint16(b[12:], uint16(s.frameBytes()))
	le.PutUint16(b[14:], uint16(s.BitDepth))
	if size == fmtExtensibleSize {
		le.PutUint16(b, tagExtensible)
		le.PutUint16(b[16:], fmtExtensibleSize-fmtFloatSize)
		le.PutUint16(b[18:], uint16(s.BitDepth))
		le.PutUint32(b[20:], s.Mask)
		le.PutUint16(b[24:], tag)
		copy(b[26:], guidTail[:])
	}
	return b
}
