package headroom

import (
	"cmp"
	"math"
	"math/rand/v2"
	"slices"

	"tachbench/mixplan"
	"tachbench/mixplan/duck"
	"tachbench/mixplan/scene"
	"tachbench/samples"
)

// Habits of play where the sheet's scenes say nothing. Common practice, no
// source.
const (
	CalloutsPerMin = 6
	EventsPerMin   = 20
	StaleS         = 1.5
	Voices         = 8
	gapS           = 0.3 // between callouts
)

// clip is a sound ready to be mixed.
type clip struct {
	chans  [][]float64 // at the machine's rate
	active []scene.Span
	bed    bool
}

func (c *clip) frames() int { return len(c.chans[0]) }

// voice is a clip at its place in a minute.
type voice struct {
	*clip
	at    int // frame of the minute at which it begins
	start int // frame of the clip it begins with
	loop  bool
}

// bus is the voices of one category.
type bus struct {
	category string
	voices   []voice
	course   *duck.Course
}

// habit is how a category plays.
type habit struct {
	category string
	perMin   float64 // arrivals; beds are always there
	clips    []*clip
	queue    bool // one at a time
}

// draw lays out one minute of n frames.
func draw(r *rand.Rand, habits []habit, rateHz, n int, plan *mixplan.Plan) []bus {
	var out []bus
	for _, h := range habits {
		b := bus{category: h.category, course: duck.New(rateHz, h.category, plan.Yielding(h.category))}
		var beds, events []*clip
		for _, c := range h.clips {
			if c.bed {
				beds = append(beds, c)
			} else {
				events = append(events, c)
			}
		}
		if len(beds) > 0 {
			c := beds[r.IntN(len(beds))]
			b.voices = append(b.voices, voice{c, 0, r.IntN(c.frames()), true})
		}
		if len(events) > 0 {
			b.voices = append(b.voices, h.arrivals(r, events, rateHz, n)...)
		}
		out = append(out, b)
	}
	// Who speaks when is known to all.
	for i := range out {
		for _, v := range out[i].voices {
			for j := range out {
				v.tell(out[j].course, out[i].category, rateHz, n)
			}
		}
	}
	return out
}

func (v voice) tell(c *duck.Course, category string, rateHz, n int) {
	if v.loop {
		if len(v.active) > 0 {
			c.Speak(category, 0, float64(n)/float64(rateHz))
		}
		return
	}
	at := float64(v.at) / float64(rateHz)
	for _, s := range v.active {
		c.Speak(category, at+s.FromS, at+s.ToS)
	}
}

// arrivals draws the events of a minute and leaves out those for which there
// is no room.
func (h habit) arrivals(r *rand.Rand, clips []*clip, rateHz, n int) []voice {
	var out []voice
	rate := h.perMin / 60 / float64(rateHz) // a frame
	if rate <= 0 {
		return nil
	}
	free := 0
	for at := r.ExpFloat64() / rate; at < float64(n); at += r.ExpFloat64() / rate {
		c, from := clips[r.IntN(len(clips))], int(at)
		if h.queue {
			if from < free {
				if float64(free-from) > StaleS*float64(rateHz) {
					continue
				}
				from = free
			}
			free = from + c.frames() + int(gapS*float64(rateHz))
		} else {
			busy := 0
			for _, v := range out {
				if v.at+v.frames() > from {
					busy++
				}
			}
			if busy >= Voices {
				continue
			}
		}
		if from < n {
			out = append(out, voice{c, from, 0, false})
		}
	}
	slices.SortStableFunc(out, func(a, b voice) int { return cmp.Compare(a.at, b.at) })
	return out
}

// add mixes the frames at to at+len(dst[0]) of a voice into dst.
func (v voice) add(dst [][]float64, at int) {
	n := len(dst[0])
	from := max(at, v.at)
	for from < at+n {
		pos := v.start + from - v.at
		if v.loop {
			pos %= v.frames()
		}
		run := min(at+n-from, v.frames()-pos)
		if run <= 0 {
			return
		}
		for c := range dst {
			src := v.chans[min(c, len(v.chans)-1)][pos : pos+run]
			d := dst[c][from-at:][:run]
			for i, x := range src {
				d[i] += x
			}
		}
		if from += run; !v.loop {
			return
		}
	}
}

// mixed plays the minute and returns the highest sample of each block.
func mixed(buses []bus, channels, n, block int, gain float64) []float32 {
	peaks := make([]float32, 0, n/block)
	sum, one := planar(channels, block), planar(channels, block)
	for at := 0; at+block <= n; at += block {
		for c := range sum {
			clear(sum[c])
		}
		for i := range buses {
			b := &buses[i]
			for c := range one {
				clear(one[c])
			}
			for _, v := range b.voices {
				if v.at < at+block && (v.loop || v.at+v.frames() > at) {
					v.add(one, at)
				}
			}
			if !b.course.Idle() {
				b.course.Apply(one)
			}
			for c := range sum {
				for k, x := range one[c] {
					sum[c][k] += x
				}
			}
		}
		peak := 0.0
		for c := range sum {
			for _, x := range sum[c] {
				peak = math.Max(peak, math.Abs(x))
			}
		}
		peaks = append(peaks, float32(peak*gain))
	}
	return peaks
}

func planar(channels, n int) [][]float64 {
	out := make([][]float64, channels)
	for c := range out {
		out[c] = make([]float64, n)
	}
	return out
}

// trimmed returns a sound as a clip with a gain, sharing nothing.
func trimmed(s *samples.Sound, active []scene.Span, db float64, bed bool) *clip {
	g := samples.DBAmplitude(db)
	c := &clip{chans: planar(s.Channels(), s.Frames()), active: active, bed: bed}
	for i, ch := range s.Chans {
		for k, v := range ch {
			c.chans[i][k] = g * v
		}
	}
	return c
}
