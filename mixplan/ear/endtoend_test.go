package ear_test

import (
	"io"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"

	"gonum.org/v1/gonum/dsp/fourier"

	"tachbench/analysis/band"
	"tachbench/analysis/sii"
	"tachbench/mixplan/ear"
	"tachbench/samples"
	"tachbench/samples/sheet"
	"tachbench/samples/wav"
)

// noise returns noise of random phase whose density in each third octave from
// 160 Hz to 8 kHz is even and whose band levels are exactly those given.
func noise(rateHz, n int, bandDBFS sii.Levels, seed uint64) *samples.Sound {
	rng := rand.New(rand.NewPCG(seed, 3))
	lines := make([]complex128, n/2+1)
	for i, db := range bandDBFS {
		lo, hi := band.Edges(i - 8)
		from, to := int(math.Ceil(lo*float64(n)/float64(rateHz))), int(math.Ceil(hi*float64(n)/float64(rateHz)))
		a := math.Sqrt(2*samples.DBPower(db)/float64(to-from)) / 2
		for k := from; k < to; k++ {
			lines[k] = cmplx.Rect(a, 2*math.Pi*rng.Float64())
		}
	}
	s := samples.NewSound(rateHz, 1, n)
	fourier.NewFFT(n).Sequence(s.Chans[0], lines)
	return s
}

// throughFile writes a sound as 24-bit WAV and reads its bands back.
func throughFile(t *testing.T, s *samples.Sound) ear.Levels {
	t.Helper()
	path := filepath.Join(t.TempDir(), "noise.wav")
	f, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if err := wav.Encode(f, s, wav.SpecOf(s, 24)); err != nil {
		t.Fatal(err)
	}
	info, err := f.Stat()
	if err != nil {
		t.Fatal(err)
	}
	r, err := wav.Open(f, info.Size())
	if err != nil {
		t.Fatal(err)
	}
	m, err := band.New(r.Info().RateHz, r.Info().Channels)
	if err != nil {
		t.Fatal(err)
	}
	block := [][]float64{make([]float64, 4096)}
	for {
		n, err := r.Read(block)
		if err == io.EOF {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
		m.Write([][]float64{block[0][:n]})
	}
	return ear.SpectrumDBFS(m.Result()[0])
}

// TestEndToEnd: noise files at known levels through file, spectrum, cabinet and
// calibration give the index computed by hand. The first four values are check
// values of the reference; the others come from a separate script (another
// reading of the equations). Spectrum levels in dB at the ear.
func TestEndToEnd(t *testing.T) {
	const rate, n, full = 48000, 1 << 19, 112 // 0 dBFS RMS is 112 dB SPL
	cut := 10.0
	flatCabinet := &sheet.Listening{LevelAtEarDB: full - 20, NoiseDBA: 20, SpeakerLowCutHz: &cut}
	normal := sii.Speech(sii.Normal, 1, sii.Levels{})
	raised := sii.Speech(sii.Raised, 1, sii.Levels{})
	flat := func(db float64) (l sii.Levels) {
		for i := range l {
			l[i] = db
		}
		return l
	}
	pink := func(bandDB float64) (l sii.Levels) {
		for i := range l {
			l[i] = bandDB - sii.BandwidthDB[i]
		}
		return l
	}
	plus := func(l sii.Levels, db float64) sii.Levels {
		for i := range l {
			l[i] += db
		}
		return l
	}
	c, err := ear.New(flatCabinet)
	if err != nil {
		t.Fatal(err)
	}
	heard := func(spectrum sii.Levels, seed uint64) ear.Levels {
		dbfs := spectrum
		for i := range dbfs {
			dbfs[i] += sii.BandwidthDB[i] - full
		}
		return c.AtEar(throughFile(t, noise(rate, n, dbfs, seed)))
	}
	listener := sii.NewListener(sii.AverageSpeech, sii.Levels{})
	for _, k := range []struct {
		name           string
		speech, masker sii.Levels
		want           float64
	}{
		{"normal speech, SNR 0", normal, normal, 0.4663},
		{"normal speech, SNR -5", normal, plus(normal, 5), 0.2957},
		{"white 40 in white 30", flat(40), flat(30), 0.7570},
		{"white 60 in white 48", flat(60), flat(48), 0.7051},
		{"normal speech in white 20", normal, flat(20), 0.49736},
		{"raised speech + 10 dB in white 40", plus(raised, 10), flat(40), 0.39857},
		{"raised speech + 10 dB in pink of 60 dB a band", plus(raised, 10), pink(60), 0.53981},
	} {
		talker := listener.Hear(heard(k.speech, 1).SpeechSpectrum())
		p := heard(k.masker, 2).MaskerPower()
		if got := talker.IndexPower(&p); math.Abs(got-k.want) > 0.002 {
			t.Errorf("%s: %.5f, want %.5f", k.name, got, k.want)
		} else {
			t.Logf("%s: %.5f, want %.5f", k.name, got, k.want)
		}
	}
}
