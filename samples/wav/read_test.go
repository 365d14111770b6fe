package wav

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
	"runtime"
	"strings"
	"testing"
	"time"

	"tachbench/samples"
)

func hasWarning(r *Reader, text string) bool {
	for _, w := range r.Warnings() {
		if strings.Contains(w.Text, text) {
			return true
		}
	}
	return false
}

// Values by hand: 8 bit is unsigned around 128, wider integers are two's
// complement, the most negative one is -1.
func TestSampleValues(t *testing.T) {
	f32 := binary.LittleEndian.AppendUint32(nil, math.Float32bits(-1.5))
	f64 := binary.LittleEndian.AppendUint64(nil, math.Float64bits(0.1))
	for _, c := range []struct {
		name string
		f    piece
		data []byte
		want []float64
		bits int
	}{
		{"8", fmtPlain(1, 1, 8000, 8), []byte{0, 128, 255}, []float64{-1, 0, 127.0 / 128}, 8},
		{"16", fmtPlain(1, 1, 8000, 16), []byte{0, 0x80, 0xFF, 0x7F, 1, 0}, []float64{-1, 32767.0 / 32768, 1.0 / 32768}, 16},
		{"24", fmtPlain(1, 1, 8000, 24), []byte{0, 0, 0x80, 0xFF, 0xFF, 0x7F, 0xFF, 0xFF, 0xFF}, []float64{-1, 8388607.0 / 8388608, -1.0 / 8388608}, 24},
		{"32", fmtPlain(1, 1, 8000, 32), []byte{0, 0, 0, 0x80, 1, 0, 0, 0}, []float64{-1, 1.0 / (1 << 31)}, 32},
		{"float", fmtPlain(3, 1, 192000, 32), f32, []float64{-1.5}, 32},
		{"double", fmtPlain(3, 1, 8000, 64), f64, []float64{0.1}, 64},
		{"20 in 24", fmtExt(1, 1, 8000, 24, 20, 4), []byte{0, 0, 0x80, 0x10, 0, 0}, []float64{-1, 16.0 / 8388608}, 20},
		{"24 in 32", fmtExt(1, 1, 8000, 32, 24, 4), []byte{0, 0, 0, 0x80, 0, 1, 0, 0}, []float64{-1, 1.0 / (1 << 23)}, 24},
		{"12 plain", fmtPlain(1, 1, 8000, 12), []byte{0, 0x80, 0x10, 0}, []float64{-1, 1.0 / 2048}, 12},
		{"extensible float", fmtExt(3, 1, 8000, 32, 32, 4), f32, []float64{-1.5}, 32},
	} {
		r := open(t, riff(c.f, ck("data", c.data)))
		s, err := readAll(t, r, 7)
		if err != nil || len(r.Warnings()) != 0 {
			t.Errorf("%s: %v %v", c.name, err, r.Warnings())
		}
		if i := r.Info(); i.BitDepth != c.bits || i.Frames != int64(len(c.want)) {
			t.Errorf("%s: %+v", c.name, i)
		}
		if fmt.Sprint(s.Chans[0]) != fmt.Sprint(c.want) {
			t.Errorf("%s: got %v, want %v", c.name, s.Chans[0], c.want)
		}
	}
}

func TestChunksInAnyOrder(t *testing.T) {
	f, data := fmtPlain(1, 2, 44100, 16), ck("data", []byte{1, 0, 2, 0, 3, 0, 4, 0})
	odd := ck("note", []byte("abc"))
	info := ck("LIST", []byte("INFOINAM\x05\x00\x00\x00name\x00\x00"))
	want := decode(t, riff(f, data))
	for i, b := range [][]byte{
		riff(data, f), riff(odd, data, f, info), riff(f, odd, info, data), riff(info, f, data, odd),
		form("RF64", ck("ds64", make([]byte, 28)), f, data),
		form("BW64", data, odd, f),
	} {
		sameSound(t, decode(t, b), want)
		if i == 1 && open(t, b).Info().Tags["INAM"] != "name" {
			t.Error("tags after the data were lost")
		}
	}
}

func TestOddSizes(t *testing.T) {
	f := fmtPlain(1, 1, 48000, 24)
	data := ck("data", []byte{1, 0, 0, 2, 0, 0, 3, 0, 0})
	info := ck("LIST", []byte("INFOISFT\x02\x00\x00\x00ab"))
	bare := data
	bare.noPad = true
	want := decode(t, riff(f, data))
	if want.Frames() != 3 {
		t.Fatalf("%d frames: the pad byte became sound", want.Frames())
	}
	for _, c := range []struct {
		b       []byte
		warning string
	}{
		{riff(f, data, info), ""},
		{riff(f, bare), "pad byte after the odd-sized \"data\" chunk is missing"},
		{riff(f, bare, info), "pad byte after the odd-sized \"data\" chunk is missing"},
		{riff(f, ck("data", append(bytes.Clone(data.body), 7)), info), "less than a frame"},
	} {
		r := open(t, c.b)
		s, err := readAll(t, r, 2)
		if err != nil {
			t.Fatal(err)
		}
		sameSound(t, s, want)
		if c.warning == "" && len(r.Warnings()) != 0 || !hasWarning(r, c.warning) && c.warning != "" {
			t.Errorf("warnings %v, want %q", r.Warnings(), c.warning)
		}
		if len(c.b) > 60 && r.Info().Tags["ISFT"] != "ab" {
			t.Error("the chunk behind the odd one was lost")
		}
	}
	// A pad byte that is not zero.
	b := riff(f, data, info)
	b[12+24+8+9] = 0xEE
	if r := open(t, b); !hasWarning(r, "0xEE") || r.Info().Tags["ISFT"] != "ab" {
		t.Errorf("%v %v", r.Warnings(), r.Info().Tags)
	}
}

func TestRF64(t *testing.T) {
	ds := make([]byte, 28+24)
	l := binary.LittleEndian
	l.PutUint64(ds[8:], 6)
	l.PutUint64(ds[16:], 3)
	l.PutUint32(ds[24:], 2)
	copy(ds[28:], "abcd")
	l.PutUint64(ds[32:], 1<<40)
	copy(ds[40:], "big ")
	l.PutUint64(ds[44:], 4)
	f := fmtPlain(1, 1, 48000, 16)
	data := piece{id: "data", body: []byte{1, 0, 2, 0, 3, 0}, size: unknownSize}
	big := piece{id: "big ", body: []byte("four"), size: unknownSize}
	b := form("RF64", ck("ds64", ds), f, data, big, ck("LIST", []byte("INFOISFT\x02\x00\x00\x00ab")))
	l.PutUint64(b[20:], uint64(len(b)-8))
	copy(b[4:], "\xff\xff\xff\xff")
	r := open(t, b)
	if i := r.Info(); i.Frames != 3 || i.Tags["ISFT"] != "ab" || len(r.Warnings()) != 0 {
		t.Errorf("%+v %v", i, r.Warnings())
	}
}

// Interrupted recorders and lying headers: the good frames, what is missing,
// and what was odd.
func TestLyingDataSizes(t *testing.T) {
	f := fmtPlain(1, 1, 48000, 16)
	body := []byte{1, 0, 2, 0, 3, 0, 4, 0, 5} // four frames and half a fifth
	for _, c := range []struct {
		name     string
		size     int64
		promised int64 // 0: ends well
		warning  string
	}{
		{"never written, zero", 0, 0, "never written (0)"},
		{"never written, all ones", unknownSize, 0, "never written (4294967295)"},
		{"one frame more", 10, 5, "claims 10 bytes, 9 are left"},
		{"2 GiB", 1 << 31, 1 << 30, "claims 2147483648 bytes, 9 are left"},
	} {
		b := riff(f, piece{id: "data", body: body, size: c.size, noPad: true})
		r := open(t, b)
		s, err := readAll(t, r, 3)
		if s.Frames() != 4 || r.Info().Frames != 4 {
			t.Errorf("%s: %d frames read, Info says %d", c.name, s.Frames(), r.Info().Frames)
		}
		var te *samples.TruncatedError
		if c.promised == 0 && err != nil || c.promised != 0 && (!errors.As(err, &te) || te.Got != 4 || te.Promised != c.promised) {
			t.Errorf("%s: error %v", c.name, err)
		}
		if !hasWarning(r, c.warning) {
			t.Errorf("%s: warnings %v", c.name, r.Warnings())
		}
	}
	// A data chunk that truly is empty, with another chunk behind it.
	r := open(t, riff(f, ck("data", nil), ck("LIST", []byte("INFOISFT\x02\x00\x00\x00ab"))))
	if s, err := readAll(t, r, 3); s.Frames() != 0 || err != nil || len(r.Warnings()) != 0 || r.Info().Tags["ISFT"] != "ab" {
		t.Errorf("empty data: %d frames, %v, %v", s.Frames(), err, r.Warnings())
	}
}

func TestOddities(t *testing.T) {
	f, data := fmtPlain(1, 2, 48000, 16), ck("data", []byte{1, 0, 2, 0})
	align := fmtPlain(1, 2, 48000, 16)
	align.body[12] = 0
	wide := fmtPlain(1, 1, 48000, 24)
	wide.body[12] = 4
	rate := fmtPlain(1, 2, 48000, 16)
	rate.body[9] = 0
	loop := make([]byte, 36)
	loop[28], loop[29], loop[30], loop[31] = 0, 0, 0, 0x80
	cue := []byte{0, 0, 0, 0x80}
	sizeLie := func(b []byte, n int) []byte { b[4] = byte(n); return b }
	for _, c := range []struct {
		name, warning string
		b             []byte
		frames        int64
	}{
		{"block align 0", "block align 0", riff(align, data), 1},
		{"24 in 4 bytes", "read as 4-byte samples", riff(wide, ck("data", []byte{0, 0, 0, 0x80})), 1},
		{"byte rate", "bytes per second", riff(rate, data), 1},
		{"garbage behind", "17 bytes after the end of the RIFF form", append(riff(f, data), make([]byte, 17)...), 1},
		{"riff size 0", "RIFF size was never written", sizeLie(riff(f, data), 0), 1},
		{"riff size too small", "inside the \"data\" chunk", sizeLie(riff(f, data), 38), 1},
		{"riff size too large", "promises 60 bytes more", sizeLie(riff(f, data), 100), 1},
		{"second fmt", "a second fmt", riff(f, fmtPlain(1, 1, 8000, 8), data), 1},
		{"second data", "a second data", riff(f, data, data), 1},
		{"2^31 loops", "claims 2147483648 loops, there is room for 0", riff(f, data, ck("smpl", loop)), 1},
		{"2^31 cues", "claims 2147483648 points, there is room for 0", riff(f, data, ck("cue ", cue)), 1},
		{"lying list", "claims 4294967295 bytes", riff(f, data, piece{id: "LIST", body: []byte("INFO"), size: unknownSize}), 1},
		{"mask", "names 2 speakers for 1 channels", riff(fmtExt(1, 1, 48000, 16, 16, 3), ck("data", []byte{1, 0})), 1},
		{"valid bits", "17 valid bits", riff(fmtExt(1, 1, 48000, 16, 17, 4), ck("data", []byte{1, 0})), 1},
		{"fact", "counts 9 frames", riff(f, ck("fact", []byte{9, 0, 0, 0}), data), 1},
	} {
		r := open(t, c.b)
		if !hasWarning(r, c.warning) {
			t.Errorf("%s: warnings %v", c.name, r.Warnings())
		}
		if s, err := readAll(t, r, 10); err != nil || int64(s.Frames()) != c.frames {
			t.Errorf("%s: %d frames, %v", c.name, s.Frames(), err)
		}
	}
}

// A small file cut at every byte: an error that is ours, or good frames that
// equal the whole file's and a statement of what is missing.
func TestTruncatedAtEveryByte(t *testing.T) {
	s := integers(48000, 2, 21, 24)
	spec := SpecOf(s, 24)
	spec.Dither = DitherNone
	spec.Loops = []samples.Loop{{Start: 2, End: 9}}
	spec.Cues = []samples.Cue{{Frame: 3, Label: "x"}}
	spec.Tags = map[string]string{"INAM": "n"}
	spec.Loudness = &samples.Loudness{}
	whole := encode(t, s, spec)
	dataAt := bytes.Index(whole, []byte("data")) + 8
	for n := range len(whole) {
		b := whole[:n]
		r, err := Open(bytes.NewReader(b), int64(n))
		var fe *FormatError
		if n < dataAt {
			if !errors.As(err, &fe) || fe.Offset > int64(n) {
				t.Fatalf("cut at %d: %v", n, err)
			}
			continue
		}
		if err != nil {
			t.Fatalf("cut at %d: %v", n, err)
		}
		got, err := readAll(t, r, 4)
		frames := min((n-dataAt)/6, 21)
		sameSound(t, got, s.Slice(0, frames))
		var te *samples.TruncatedError
		if frames < 21 && (!errors.As(err, &te) || te.Got != int64(frames) || te.Promised != 21) || frames == 21 && err != nil {
			t.Fatalf("cut at %d: %v", n, err)
		}
		if len(r.Warnings()) == 0 {
			t.Fatalf("cut at %d: no warning", n)
		}
	}
}

// What a lying header may cost: nothing beyond the file's own size and a
// fixed allowance, and no time to speak of.
func TestLiesCostNothing(t *testing.T) {
	f := fmtPlain(1, 2, 48000, 16)
	lies := map[string][]byte{
		"data of 4 GiB": riff(f, piece{id: "data", body: make([]byte, 100), size: unknownSize - 1}),
		"fmt of 2 GiB":  riff(piece{id: "fmt ", body: f.body, size: 1 << 31}, ck("data", nil)),
		"list of 4 GiB": riff(piece{id: "LIST", body: []byte("INFO"), size: unknownSize - 2}, f, ck("data", nil)),
		"smpl of 4 GiB": riff(f, ck("data", nil), piece{id: "smpl", body: make([]byte, 36), size: unknownSize}),
		"bext of 4 GiB": riff(f, ck("data", nil), piece{id: "bext", body: make([]byte, 602), size: unknownSize}),
		"cue of 4 GiB":  riff(f, ck("data", nil), piece{id: "cue ", body: []byte("\xff\xff\xff\xff"), size: unknownSize}),
		"ds64 table":    form("RF64", ck("ds64", append(make([]byte, 24), "\xff\xff\xff\xff"...)), f, ck("data", nil)),
		"1024 channels": riff(fmtPlain(1, 1024, 48000, 32), piece{id: "data", body: make([]byte, 64), size: unknownSize - 5}),
	}
	for name, b := range lies {
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		start := time.Now()
		if r, err := Open(bytes.NewReader(b), int64(len(b))); err == nil {
			dst := make([][]float64, r.Info().Channels)
			for c := range dst {
				dst[c] = make([]float64, 1)
			}
			for range 100 {
				if _, err := r.Read(dst); err != nil {
					break
				}
			}
		}
		runtime.ReadMemStats(&after)
		if n := after.TotalAlloc - before.TotalAlloc; n > 256<<10 {
			t.Errorf("%s: %d bytes allocated for a file of %d", name, n, len(b))
		}
		if d := time.Since(start); d > time.Second {
			t.Errorf("%s: took %v", name, d)
		}
	}
	// 8 MiB of empty chunks: linear, and the list of oddities stays short.
	b := riff(f, ck("data", nil))
	for len(b) < 8<<20 {
		b = append(b, "fmt \x00\x00\x00\x00"...)
	}
	start := time.Now()
	r := open(t, b)
	if n := len(r.Warnings()); n > maxWarnings {
		t.Errorf("%d warnings", n)
	}
	if d := time.Since(start); d > 2*time.Second {
		t.Errorf("a million chunks took %v", d)
	}
}

func TestBlockSizesAgree(t *testing.T) {
	for _, channels := range []int{1, 2, 6} {
		s := integers(192000, channels, 40001, 24)
		spec := SpecOf(s, 24)
		spec.Dither = DitherNone
		b := encode(t, s, spec)
		for _, n := range []int{1, 7, 1024, 40001, 50000} {
			got, err := readAll(t, open(t, b), n)
			if err != nil {
				t.Fatal(err)
			}
			sameSound(t, got, s)
		}
	}
}

// shrinking gives less than its size said.
type shrinking struct {
	b   []byte
	err error
}

func (s shrinking) ReadAt(p []byte, off int64) (int, error) {
	if off > int64(len(s.b)) {
		return 0, s.err
	}
	n := copy(p, s.b[off:])
	if n < len(p) {
		return n, s.err
	}
	return n, nil
}

func TestSourceFailsWhileReading(t *testing.T) {
	s := integers(48000, 1, 100, 16)
	spec := SpecOf(s, 16)
	spec.Dither = DitherNone
	b := encode(t, s, spec)
	disk := errors.New("disk fell over")
	for _, cause := range []error{io.EOF, disk} {
		r, err := Open(shrinking{b[:44+51], cause}, int64(len(b)))
		if errors.Is(cause, disk) {
			// The window that looks for headers meets the fault at once.
			if !errors.Is(err, disk) {
				t.Errorf("Open: %v", err)
			}
			continue
		}
		if err != nil {
			t.Fatal(err)
		}
		got, err := readAll(t, r, 9)
		var te *samples.TruncatedError
		if got.Frames() != 25 || !errors.As(err, &te) || te.Got != 25 || te.Promised != 100 {
			t.Errorf("%d frames, %v", got.Frames(), err)
		}
	}
}

func TestReadIntoWrongShapePanics(t *testing.T) {
	r := open(t, riff(fmtPlain(1, 2, 48000, 16), ck("data", make([]byte, 8))))
	for _, dst := range [][][]float64{nil, {{0}}, {{0}, {0, 0}}} {
		func() {
			defer func() {
				if recover() == nil {
					t.Errorf("no panic for %v", dst)
				}
			}()
			_, _ = r.Read(dst)
		}()
	}
	if n, err := r.Read([][]float64{{}, {}}); n != 0 || err != nil {
		t.Errorf("empty read: %d, %v", n, err)
	}
}

func TestReadAllocatesNothing(t *testing.T) {
	s := integers(48000, 2, 1<<16, 16)
	r := open(t, encode(t, s, SpecOf(s, 16)))
	dst := [][]float64{make([]float64, 256), make([]float64, 256)}
	if n := testing.AllocsPerRun(100, func() { _, _ = r.Read(dst) }); n != 0 {
		t.Errorf("%v allocations a Read", n)
	}
}
