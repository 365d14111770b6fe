package wav

import (
	"bytes"
	"encoding/binary"
	"math"
	"strings"
	"unicode/utf8"

	"tachbench/samples"
)

// Broadcast is the text of a bext chunk, EBU Tech 3285. The loudness values
// of version 2 are in samples.Info.Loudness.
type Broadcast struct {
	Description         string // at most 256 bytes
	Originator          string // at most 32 bytes
	OriginatorReference string // at most 32 bytes
	Date                string // yyyy-mm-dd
	Time                string // hh:mm:ss
	TimeReference       uint64 // frames since midnight
	Version             int    // as read; always 2 when written
	CodingHistory       string
}

// metadata gathers what the other chunks say, in file order.
type metadata struct {
	loops    []samples.Loop
	points   []cuePoint
	labels   map[uint32]cueText
	tags     map[string]string
	bext     *Broadcast
	loudness *samples.Loudness
}

type cuePoint struct {
	id    uint32
	frame int64
}

type cueText struct {
	labl, note, ltxt string
	length           int64
}

func (m *metadata) visit(o *opener, id string, body, n int64) {
	switch id {
	case "smpl":
		m.smpl(o, body, o.payload(body, n))
	case "cue ":
		m.cue(o, body, o.payload(body, n))
	case "bext":
		m.broadcast(o, body, o.payload(body, n))
	case "LIST", "list":
		if n < 4 {
			o.warn(body, "the %s chunk has %d bytes, too few for its type; ignored", id, n)
			return
		}
		switch string(o.peek(body, 4)) {
		case "adtl":
			m.adtl(o, body+4, o.payload(body+4, n-4))
		case "INFO":
			m.info(o, body+4, o.payload(body+4, n-4))
		}
	}
}

func (m *metadata) smpl(o *opener, at int64, b []byte) {
	if len(b) < smplHeadSize {
		o.warn(at, "the smpl chunk has %d bytes, it needs at least %d; ignored", len(b), smplHeadSize)
		return
	}
	le := binary.LittleEndian
	claimed := int64(le.Uint32(b[28:]))
	b = b[smplHeadSize:]
	n := min(claimed, int64(len(b)/smplLoopSize))
	if n < claimed {
		o.warn(at+28, "the smpl chunk claims %d loops, there is room for %d", claimed, n)
	}
	for i := int64(0); i < n; i, b = i+1, b[smplLoopSize:] {
		l := samples.Loop{Start: int64(le.Uint32(b[8:])), End: int64(le.Uint32(b[12:])) + 1}
		if plays := le.Uint32(b[20:]); plays <= math.MaxInt32 {
			l.Plays = int(plays)
		} else {
			o.warn(at+smplHeadSize+i*smplLoopSize+20, "loop %d is to be played %d times; taken as endless", i+1, plays)
		}
		if l.End <= l.Start {
			o.warn(at+smplHeadSize+i*smplLoopSize+8, "loop %d ends at frame %d, before it starts at frame %d; ignored", i+1, l.End-1, l.Start)
			continue
		}
		if kind := le.Uint32(b[4:]); kind != 0 {
			o.warn(at+smplHeadSize+i*smplLoopSize+4, "loop %d is of type %d; only forward loops (0) are known, taken as one", i+1, kind)
		}
		m.loops = append(m.loops, l)
	}
}

func (m *metadata) cue(o *opener, at int64, b []byte) {
	if len(b) < cueHeadSize {
		o.warn(at, "the cue chunk has %d bytes, it needs at least %d; ignored", len(b), cueHeadSize)
		return
	}
	le := binary.LittleEndian
	claimed := int64(le.Uint32(b))
	b = b[cueHeadSize:]
	n := min(claimed, int64(len(b)/cuePointSize))
	if n < claimed {
		o.warn(at, "the cue chunk claims %d points, there is room for %d", claimed, n)
	}
	for i := int64(0); i < n; i, b = i+1, b[cuePointSize:] {
		p := cuePoint{id: le.Uint32(b), frame: int64(le.Uint32(b[20:]))}
		if p.frame == 0 {
			p.frame = int64(le.Uint32(b[4:])) // some writers fill only this one
		}
		m.points = append(m.points, p)
	}
}

// each calls f for every sub-chunk of a LIST, whose payload begins at byte at.
func each(o *opener, at int64, b []byte, f func(id string, at int64, b []byte)) {
	for p := 0; p+8 <= len(b); {
		id, n := string(b[p:p+4]), int64(binary.LittleEndian.Uint32(b[p+4:]))
		if !plausibleID(id) {
			o.warn(at+int64(p), "no list entry begins here (%q)", id)
			return
		}
		if left := int64(len(b) - p - 8); n > left {
			o.warn(at+int64(p), "the list entry %q claims %d bytes, %d are left in its list", id, n, left)
			n = left
		}
		f(id, at+int64(p), b[p+8:p+8+int(n)])
		p += 8 + int(n)
		// The pad byte, unless it was left out and the next entry begins.
		if n%2 == 1 && p < len(b) && (b[p] == 0 || p+4 > len(b) || !plausibleID(string(b[p:p+4]))) {
			p++
		}
	}
}

func (m *metadata) adtl(o *opener, at int64, b []byte) {
	if m.labels == nil {
		m.labels = map[uint32]cueText{}
	}
	each(o, at, b, func(id string, at int64, b []byte) {
		need := map[string]int{"labl": 4, "note": 4, "ltxt": 20}[id]
		if need == 0 {
			return
		}
		if len(b) < need {
			o.warn(at, "the %s entry has %d bytes, it needs at least %d", id, len(b), need)
			return
		}
		cue := binary.LittleEndian.Uint32(b)
		t := m.labels[cue]
		switch id {
		case "labl":
			t.labl = text(b[4:])
		case "note":
			t.note = text(b[4:])
		case "ltxt":
			t.length, t.ltxt = int64(binary.LittleEndian.Uint32(b[4:])), text(b[20:])
		}
		m.labels[cue] = t
	})
}

func (m *metadata) info(o *opener, at int64, b []byte) {
	if m.tags == nil {
		m.tags = map[string]string{}
	}
	each(o, at, b, func(id string, _ int64, b []byte) {
		if _, again := m.tags[id]; !again {
			m.tags[id] = text(b)
		}
	})
}

func (m *metadata) broadcast(o *opener, at int64, b []byte) {
	if len(b) < bextSize {
		o.warn(at, "the bext chunk has %d bytes, it needs at least %d; ignored", len(b), bextSize)
		return
	}
	if m.bext != nil {
		o.warn(at, "a second bext chunk; ignored")
		return
	}
	le := binary.LittleEndian
	m.bext = &Broadcast{
		Description:         text(b[:bextOriginator]),
		Originator:          text(b[bextOriginator:bextReference]),
		OriginatorReference: text(b[bextReference:bextDate]),
		Date:                text(b[bextDate:bextTime]),
		Time:                text(b[bextTime:bextTimeRef]),
		TimeReference:       le.Uint64(b[bextTimeRef:]),
		Version:             int(le.Uint16(b[bextVersion:])),
		CodingHistory:       text(b[bextSize:]),
	}
	if m.bext.Version < 2 {
		return
	}
	var v [5]float64
	set := false
	for i := range v {
		raw := int16(le.Uint16(b[bextLoudness+2*i:]))
		v[i] = math.NaN()
		if raw >= -loudnessLimit && raw <= loudnessLimit {
			v[i], set = float64(raw)/100, true
		}
	}
	if set {
		m.loudness = &samples.Loudness{IntegratedLUFS: v[0], RangeLU: v[1], TruePeakDBTP: v[2], MomentaryMaxLUFS: v[3], ShortTermMaxLUFS: v[4]}
	}
}

// cues joins points and their texts.
func (m *metadata) cues() []samples.Cue {
	var out []samples.Cue
	for _, p := range m.points {
		t := m.labels[p.id]
		c := samples.Cue{Frame: p.frame, Length: t.length, Label: t.labl}
		if c.Label == "" {
			c.Label = t.ltxt
		}
		if c.Label == "" {
			c.Label = t.note
		}
		out = append(out, c)
	}
	return out
}

// text reads a NUL-terminated field. Bytes that are not UTF-8 are taken as
// Latin-1, which is what the older tools wrote.
func text(b []byte) string {
	if i := bytes.IndexByte(b, 0); i >= 0 {
		b = b[:i]
	}
	if utf8.Valid(b) {
		return strings.Clone(string(b))
	}
	r := make([]rune, len(b))
	for i, c := range b {
		r[i] = rune(c)
	}
	return string(r)
}
