package audit

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"math/bits"

	"tachbench/analysis/band"
	"tachbench/analysis/defect"
	"tachbench/analysis/loudness"
	"tachbench/analysis/peak"
	"tachbench/analysis/speech"
	"tachbench/samples"
	"tachbench/samples/file"
)

// blockFrames is how much is read at a time: 0.17 s at 48 kHz.
const blockFrames = 8192

// contentSeeds and contentFactors make two hashes of 64 bits each of the samples
// (odd digits of π and e, no meaning). They are the same in every run, because
// results are remembered.
var (
	contentSeeds   = [2]uint64{0x243F6A8885A308D3, 0xB7E151628AED2A6B}
	contentFactors = [2]uint64{0x9E3779B97F4A7C15, 0xD6E8FEB86659FD93}
)

// measure reads one sound from end to end, once. The error is not that of a
// sound that breaks off; this is a finding.
func measure(ctx context.Context, e entry, chart bool, read func(share float64)) (s *Sound, err error) {
	r, err := file.Open(e.path)
	if err != nil {
		return nil, err
	}
	defer r.Close()
	// Whatever one file makes go wrong must not hide the others.
	defer func() {
		if p := recover(); p != nil {
			s, err = nil, fmt.Errorf("a fault of tachbench itself while measuring it: %v", p)
		}
	}()
	info := r.Info()
	if err := measurable(info); err != nil {
		return nil, err
	}
	m := newMeters(info, e, chart)
	cut, err := m.run(ctx, r, info.Frames, read)
	if err != nil {
		return nil, err
	}
	if m.frames == 0 && cut == nil {
		return nil, errors.New("there is no sound in it (0 frames)")
	}
	s = &Sound{Path: e.path, Category: e.category, StandIn: e.standIn, Recording: e.recording, Info: info, Bytes: e.size}
	s.Info.Frames = m.frames
	m.finish(s)
	var remarks []string
	for _, w := range file.Warnings(r) {
		remarks = append(remarks, w.String())
	}
	s.Findings = append(s.Findings, defect.OddHeader(remarks)...)
	if cut != nil {
		s.Findings = append(s.Findings, defect.Unreadable(cut))
	}
	s.Findings = append(s.Findings, defect.CheckFormat(info, e.machine)...)
	s.Findings = append(s.Findings, truePeaks(s, e.opt)...)
	defect.Sort(s.Findings)
	return s, nil
}

// measurable refuses what lies outside the range of the meters.
func measurable(info samples.Info) error {
	switch {
	case info.RateHz < loudness.MinRateHz || info.RateHz > loudness.MaxRateHz:
		return fmt.Errorf("sample rate %d Hz cannot be measured; %d to %d Hz can", info.RateHz, loudness.MinRateHz, loudness.MaxRateHz)
	case info.Channels > loudness.MaxChannels:
		return fmt.Errorf("%d channels cannot be measured; 1 to %d can", info.Channels, loudness.MaxChannels)
	}
	return nil
}

// meters are all that listen to one sound.
type meters struct {
	info    samples.Info
	frames  int64
	levels  *loudness.Meter
	peaks   *peak.Meter
	bands   *band.Meter
	speech  *speech.Meter // nil for other sounds than callouts
	mono    []float64     // for it
	scan    *defect.Scan
	outline *outline
	chart   bool
	hashes  [][2]uint64 // of the samples, per channel
	block   [][]float64
	clean   [][]float64 // views of block, scrubbed
}

func newMeters(info samples.Info, e entry, chart bool) *meters {
	m := &meters{info: info, chart: chart, outline: newOutline(chart), scan: defect.NewScan(info, e.opt)}
	var err error
	if m.levels, err = loudness.New(info.RateHz, info.Channels, info.Mask); err != nil {
		panic(err) // measurable has looked
	}
	if m.peaks, err = peak.New(info.RateHz, info.Channels); err != nil {
		panic(err)
	}
	if m.bands, err = band.New(info.RateHz, info.Channels); err != nil {
		panic(err)
	}
	if e.opt.Kind == defect.Callout {
		if m.speech, err = speech.New(info.RateHz); err != nil {
			panic(err)
		}
		m.mono = make([]float64, blockFrames)
	}
	m.hashes = make([][2]uint64, info.Channels)
	m.block = make([][]float64, info.Channels)
	m.clean = make([][]float64, info.Channels)
	for c := range m.block {
		m.block[c] = make([]float64, blockFrames)
		m.hashes[c] = contentSeeds
	}
	return m
}

// run feeds the sound to the meters. cut is set if it breaks off.
func (m *meters) run(ctx context.Context, r samples.Reader, frames int64, read func(float64)) (cut *samples.TruncatedError, err error) {
	for {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		n, err := r.Read(m.block)
		if n > 0 {
			for c, ch := range m.block {
				m.clean[c] = ch[:n]
			}
			m.write(m.clean)
			if frames > 0 {
				read(math.Min(float64(m.frames)/float64(frames), 1))
			}
		}
		switch {
		case err == io.EOF:
			return nil, nil
		case errors.As(err, &cut):
			return cut, nil
		case err != nil:
			return nil, err
		}
	}
}

func (m *meters) write(block [][]float64) {
	m.frames += int64(len(block[0]))
	m.levels.Write(block)
	m.peaks.Write(block)
	m.scan.Write(block)
	m.bands.Write(block)
	for c, ch := range block {
		m.hash(c, ch)
		if samples.FirstUnusable(ch) >= 0 {
			samples.Scrub(ch, ch)
		}
	}
	m.outline.write(block)
	if m.speech != nil {
		m.speech.Write(m.folded(block))
	}
}

// folded is the mean of all channels.
func (m *meters) folded(block [][]float64) []float64 {
	if len(block) == 1 {
		return block[0]
	}
	mono := m.mono[:len(block[0])]
	clear(mono)
	for _, ch := range block {
		for i, v := range ch {
			mono[i] += v
		}
	}
	for i := range mono {
		mono[i] /= float64(len(block))
	}
	return mono
}

// hash folds each sample in by a full multiplication; two lanes, so that
// different sounds do not meet by chance.
func (m *meters) hash(c int, ch []float64) {
	a, b := m.hashes[c][0], m.hashes[c][1]
	for _, v := range ch {
		x := math.Float64bits(v)
		hi, lo := bits.Mul64(a^x, contentFactors[0])
		a = hi ^ lo + contentSeeds[0]
		hi, lo = bits.Mul64(b^x, contentFactors[1])
		b = hi ^ lo + contentSeeds[1]
	}
	m.hashes[c] = [2]uint64{a, b}
}

func (m *meters) finish(s *Sound) {
	s.Levels = m.levels.Result()
	s.Peaks = m.peaks.Result()
	s.Findings = m.scan.Finish()
	if m.speech != nil {
		r := m.speech.Result()
		s.Speech = &r
	}
	whole := band.Mean(m.bands.Result())
	s.ThirdOctaves = whole.ThirdOctaves()
	s.EdgeHz = math.NaN()
	if b, ok := whole.Bandwidth(); ok {
		s.EdgeHz = b.EdgeHz
	}
	s.Ends = m.outline.ends(m.info.RateHz)
	s.Stereo = m.outline.stereo()
	if m.frames > 0 {
		s.content = fmt.Sprint(m.info.RateHz, m.info.Channels, m.frames)
		for c := range m.hashes {
			s.content += fmt.Sprintf(" %x %x", m.hashes[c][0], m.hashes[c][1])
		}
	}
	if m.chart {
		s.Chart = m.drawn()
	}
}

func (m *meters) drawn() *Chart {
	c := &Chart{Wave: m.outline.cols, WaveStepS: float64(m.outline.per) / float64(m.info.RateHz)}
	v, window := m.levels.ShortTermLUFS(), 3.0
	if v == nil {
		v, window = m.levels.MomentaryLUFS(), 0.4
	}
	run := 0
	c.Loudness, run = thin(v)
	c.LoudnessStepS, c.LoudnessWindowS = 0.1*float64(run), window
	return c
}

func truePeaks(s *Sound, opt defect.Options) []defect.Finding {
	peaks := make([]defect.Peak, len(s.Peaks.Channels))
	for c, ch := range s.Peaks.Channels {
		p := defect.Peak{DBTP: math.NaN(), AtS: math.NaN()}
		if db, ok := ch.TruePeakDBTP(); ok {
			p = defect.Peak{DBTP: db, AtS: math.Max(ch.TruePeakFrame, 0) / float64(s.Peaks.RateHz)}
		}
		peaks[c] = p
	}
	return defect.CheckTruePeak(peaks, opt)
}
