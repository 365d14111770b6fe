package wav

import (
	"bytes"
	"encoding/binary"
	"errors"
	"math"
	"testing"

	"tachbench/samples"
)

// FuzzOpen: no input may panic, hang or give a foreign error; whatever
// decodes keeps to its Info and re-encodes as 32-bit float to the same sound.
func FuzzOpen(f *testing.F) {
	s := integers(48000, 2, 9, 16)
	spec := SpecOf(s, 24)
	spec.Loops = []samples.Loop{{Start: 2, End: 9}}
	spec.Cues = []samples.Cue{{Frame: 3, Label: "x", Length: 2}}
	spec.Tags = map[string]string{"INAM": "n"}
	spec.Loudness = &samples.Loudness{}
	f.Add(encode(f, s, spec))
	spec.Frames = 0
	f.Add(encode(f, s, SpecOf(s, 32)))
	f.Add(riff(fmtPlain(1, 1, 8000, 8), ck("data", []byte{1, 2, 3}), ck("LIST", []byte("adtlltxt"))))
	f.Add(riff(ck("data", []byte{1, 2, 3, 4}), fmtExt(1, 2, 8000, 16, 12, 3)))
	f.Add(riff(fmtPlain(3, 1, 8000, 64), piece{id: "data", body: make([]byte, 17), size: unknownSize}))
	f.Add(form("RF64", ck("ds64", binary.LittleEndian.AppendUint64(make([]byte, 8), 1<<63)), fmtPlain(1, 1, 8000, 32)))
	f.Fuzz(func(t *testing.T, b []byte) {
		r, err := Open(bytes.NewReader(b), int64(len(b)))
		if err != nil {
			var fe *FormatError
			var ue *UnsupportedError
			if !errors.As(err, &fe) && !errors.As(err, &ue) {
				t.Fatalf("foreign error %T %v", err, err)
			}
			return
		}
		got, err := readAll(t, r, 64)
		var te *samples.TruncatedError
		if err != nil && (!errors.As(err, &te) || te.Got != int64(got.Frames()) || te.Promised <= te.Got) {
			t.Fatalf("Read: %v after %d frames", err, got.Frames())
		}
		if i := r.Info(); i.Frames != int64(got.Frames()) || int64(got.Frames()*got.Channels()) > int64(len(b)) {
			t.Fatalf("%d frames read, Info says %d, from %d bytes", got.Frames(), i.Frames, len(b))
		}
		got.Mask = 0
		again := decode(t, encode(t, got, SpecOf(got, 32)))
		want := samples.NewSound(got.RateHz, got.Channels(), got.Frames())
		for c := range want.Chans {
			for i, v := range got.Chans[c] {
				want.Chans[c][i] = float64(math.Float32frombits(math.Float32bits(float32(v))))
			}
		}
		sameSound(t, again, want)
	})
}
