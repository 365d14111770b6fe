package defect

import (
	"fmt"
	"math"

	"tachbench/samples"
)

// The time grid. Everything is counted from the first frame of the sound.
const (
	ticksPerChunk = 10
	ringTicks     = 256 // a power of two; how far back a detector can see
	pastLen       = 96  // samples before the chunk that stay in reach
	aheadLen      = 96  // samples after the chunk that are already there
)

// Range of what can be scanned.
const (
	MinRateHz   = 4000
	MaxRateHz   = 384000
	MaxChannels = 64
)

// Scan listens to one sound. Make one with NewScan for each sound; it is not
// safe for use by several goroutines at once.
type Scan struct {
	opt     Options
	info    samples.Info
	rateHz  float64
	tickLen int
	chunk   int   // samples of a whole chunk
	written int64 // frames taken in
	done    int64 // frames processed

	bufs  [][]float64 // per channel: past, chunk, ahead
	fill  int         // samples behind the past
	chans []*channel
	views [][]float64 // the current chunk of each channel, without past

	bad   unusable
	fold  *fold
	pairs []pair
	level *levels
	ends  *ends
	hum   *hum
	band  *band
	seams []*seam
	tail  *tail
}

// channel holds the detectors that work on one channel alone.
type channel struct {
	ring    [ringTicks]tick
	ticks   int64 // ticks measured so far
	dc      dc
	energy  float64
	clip    clip
	wrap    wrap
	click   click
	dropout dropout
}

// at returns tick k, which must be among the last ringTicks.
func (c *channel) at(k int64) *tick { return &c.ring[k&(ringTicks-1)] }

// NewScan returns a scan for a sound with that rate, channel count, depth and
// loops. Info.Frames may be wrong or unknown. It panics if the rate or the
// channel count is out of range.
func NewScan(info samples.Info, opt Options) *Scan {
	if info.RateHz < MinRateHz || info.RateHz > MaxRateHz {
		panic(fmt.Sprintf("defect: sample rate %d Hz; can be %d to %d Hz", info.RateHz, MinRateHz, MaxRateHz))
	}
	if info.Channels < 1 || info.Channels > MaxChannels {
		panic(fmt.Sprintf("defect: %d channels; can be 1 to %d", info.Channels, MaxChannels))
	}
	s := &Scan{opt: opt, info: info, rateHz: float64(info.RateHz), tickLen: info.RateHz / 1000}
	s.chunk = s.tickLen * ticksPerChunk
	s.bufs = make([][]float64, info.Channels)
	s.views = make([][]float64, info.Channels)
	s.chans = make([]*channel, info.Channels)
	step := stepOf(info)
	for c := range s.chans {
		s.bufs[c] = make([]float64, pastLen+s.chunk+aheadLen)
		s.chans[c] = &channel{clip: newClip(step, opt), wrap: newWrap(step, s.rateHz), click: newClick(step, s.rateHz, opt), dropout: newDropout(step, s.rateHz, opt)}
	}
	s.fold = newFold(info, opt)
	s.pairs = newPairs(info)
	s.level = newLevels()
	s.ends = newEnds(s.rateHz, info.Channels)
	s.band = newBand(s.rateHz, info.Format == "ogg" || info.Format == "mp3")
	if opt.applies("hum") {
		s.hum = newHum(s.rateHz)
	}
	s.seams, s.tail = newSeams(info, opt)
	return s
}

// stepOf returns one quantisation step of the file. Formats without a bit depth
// are taken as 16 bit, floats as 24.
func stepOf(info samples.Info) float64 {
	bits := info.BitDepth
	switch {
	case info.Float:
		bits = 24
	case bits <= 0:
		bits = 16
	case bits > 24:
		bits = 24
	}
	return math.Ldexp(1, 1-bits)
}

// Write takes in the next frames: one slice per channel, all of equal length.
// The block is not kept and not changed. It panics when the shape is wrong.
func (s *Scan) Write(block [][]float64) {
	if len(block) != len(s.bufs) {
		panic(fmt.Sprintf("defect: block of %d channels for a scan of %d", len(block), len(s.bufs)))
	}
	for _, ch := range block {
		if len(ch) != len(block[0]) {
			panic("defect: channels of a block differ in length")
		}
	}
	n := len(block[0])
	for i := 0; i < n; {
		room := s.chunk + aheadLen - s.fill
		step := min(room, n-i)
		for c, ch := range block {
			s.take(c, s.bufs[c][pastLen+s.fill:][:step], ch[i:i+step])
		}
		s.fill += step
		s.written += int64(step)
		i += step
		if s.fill == s.chunk+aheadLen {
			s.process(s.chunk)
		}
	}
}

// take copies samples into the buffer and replaces unusable ones by silence.
func (s *Scan) take(c int, dst, src []float64) {
	i := samples.FirstUnusable(src)
	if i < 0 {
		copy(dst, src)
		return
	}
	s.bad.note(s.written+int64(i), c, samples.Scrub(dst, src))
}

// process runs all detectors over the first n samples of the buffer and moves
// the rest to its front.
func (s *Scan) process(n int) {
	for c, ch := range s.chans {
		ch.process(s.bufs[c], n, s.tickLen, s.done)
		s.views[c] = s.bufs[c][pastLen : pastLen+n]
	}
	mono := s.fold.process(s.views, s.done)
	for i := range s.pairs {
		s.pairs[i].process(s.views)
	}
	power := s.ends.process(s.chans, s.views, n, s.tickLen, s.done)
	s.level.process(power, n, s.chunk)
	if s.hum != nil {
		s.hum.process(mono, s.level)
	}
	s.band.process(s.views, power)
	for _, m := range s.seams {
		m.process(s.views, s.done)
	}
	s.tail.process(s.views)

	s.done += int64(n)
	s.fill -= n
	for c := range s.bufs {
		b := s.bufs[c]
		copy(b, b[n:])
		clear(b[len(b)-n:])
	}
}

func (c *channel) process(buf []float64, n, tickLen int, pos int64) {
	for i := 0; i < n; i += tickLen {
		m := min(tickLen, n-i)
		t := c.at(c.ticks)
		measure(buf[pastLen+i-2:pastLen+i+m], t)
		c.dc.add(t)
		c.energy += t.sq
		c.clip.process(buf, pastLen+i, m, pos+int64(i), t)
		c.wrap.process(buf, pastLen+i, m, pos+int64(i), t)
		c.dropout.process(c, buf[pastLen+i:pastLen+i+m], pos+int64(i), t)
		c.ticks++
		c.click.keep(buf[pastLen+i : pastLen+i+m])
		c.click.process(c)
	}
}

// Finish ends the sound and returns its findings, sorted by [Sort]. The scan
// cannot be used afterwards.
func (s *Scan) Finish() []Finding {
	for s.fill > 0 {
		s.process(min(s.fill, s.chunk))
	}
	if s.written == 0 {
		return nil
	}
	if f, silent := s.silent(); silent {
		return append(s.bad.findings(s.rateHz), f)
	}
	var one []Finding
	for c, ch := range s.chans {
		one = append(one, ch.clip.findings(c, s.rateHz)...)
		one = append(one, ch.wrap.findings(c, s.rateHz)...)
		ch.click.finish(ch)
		one = append(one, ch.click.findings(c, s.tickLen, s.rateHz, s.written)...)
		ch.dropout.finish(ch)
		one = append(one, ch.dropout.findings(c, s.rateHz)...)
		one = append(one, ch.dc.findings(c, s.opt)...)
	}
	one = append(one, s.endClicks()...)
	all := s.bad.findings(s.rateHz)
	all = append(all, s.fold.findings(s.rateHz, s.opt)...)
	all = append(all, s.channelFindings()...)
	all = append(all, s.endFindings()...)
	all = append(all, s.noiseFindings()...)
	all = append(all, s.band.findings(s.opt)...)
	all = append(all, s.seamFindings()...)
	for _, f := range mergeChannels(one, len(s.chans)) {
		if s.opt.applies(f.Rule) {
			all = append(all, f)
		}
	}
	Sort(all)
	return all
}

// seconds converts a frame count to seconds.
func (s *Scan) seconds(frames int64) float64 { return float64(frames) / s.rateHz }

// silent reports whether nothing in the file reaches the limit of silence.
func (s *Scan) silent() (Finding, bool) {
	limit := s.opt.Limit("silent_dbfs")
	peak := samples.AmplitudeDB(s.ends.peak)
	if peak >= limit {
		return Finding{}, false
	}
	r := reading{value: peak, limit: limit, unit: "dBFS"}
	if math.IsInf(peak, -1) {
		r.value = math.NaN()
		return found("only-silence", wholeFile, allChannels, r, "The file holds %s of digital silence.", seconds(s.seconds(s.written))), true
	}
	return found("only-silence", wholeFile, allChannels, r, "Nothing in the file is louder than %s dBFS.", level(peak, decimalsApart(peak, limit, 1))), true
}

// unusable counts samples that are no numbers.
type unusable struct {
	count   int64
	first   int64
	channel int
}

func (u *unusable) note(at int64, channel, count int) {
	if u.count == 0 || at < u.first {
		u.first, u.channel = at, channel
	}
	u.count += int64(count)
}

func (u *unusable) findings(rateHz float64) []Finding {
	if u.count == 0 {
		return nil
	}
	return []Finding{found("not-a-number", float64(u.first)/rateHz, u.channel,
		reading{value: float64(u.count), limit: 0, unit: "samples"},
		"%s not a finite number of sensible size.", plural(u.count, "sample is", "samples are"))}
}
