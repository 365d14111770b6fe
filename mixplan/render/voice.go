package render

import (
	"fmt"

	"github.com/gopxl/beep/v2"

	"tachbench/mixplan/scene"
	"tachbench/samples"
	"tachbench/samples/resample"
)

// memory plays a sound in memory as beep counts: two channels, a mono sound
// alike in both.
type memory struct {
	sound *samples.Sound
	pos   int
}

var _ beep.StreamSeeker = (*memory)(nil)

func (m *memory) Stream(dst [][2]float64) (int, bool) {
	n := min(len(dst), m.sound.Frames()-m.pos)
	if n == 0 {
		return 0, len(dst) == 0
	}
	l, r := m.sound.Chans[0], m.sound.Chans[m.sound.Channels()-1]
	for i := range dst[:n] {
		dst[i] = [2]float64{l[m.pos+i], r[m.pos+i]}
	}
	m.pos += n
	return n, true
}

func (m *memory) Err() error    { return nil }
func (m *memory) Len() int      { return m.sound.Frames() }
func (m *memory) Position() int { return m.pos }

func (m *memory) Seek(p int) error {
	if p < 0 || p > m.Len() {
		return fmt.Errorf("seek to frame %d of %d", p, m.Len())
	}
	m.pos = p
	return nil
}

// voice returns the stream of a clip at rateHz, looped if wanted.
func voice(c *scene.Clip, loop bool, rateHz int) beep.Streamer {
	var s beep.Streamer = &memory{sound: c.Sound}
	if loop {
		looped, err := beep.Loop2(&memory{sound: c.Sound}, beep.LoopBetween(int(c.Loop.Start), int(c.Loop.End)))
		if err != nil {
			panic("render: " + err.Error()) // the library has checked the points
		}
		s = looped
	}
	if c.Sound.RateHz != rateHz {
		s = newConverted(s, c.Sound.RateHz, rateHz, c.Sound.Channels())
	}
	return s
}

// convertChunk is how many frames converted takes from its source at a time.
const convertChunk = 512

// converted brings a stream to another rate.
type converted struct {
	src      beep.Streamer
	r        *resample.Resampler
	in       [][2]float64
	planar   [][]float64 // what was read, and how much of it waits
	at, have int
	out      [][]float64
	room     [][]float64 // views of out and planar, made anew for each call
	waiting  [][]float64
	ended    bool
}

func newConverted(src beep.Streamer, fromHz, toHz, channels int) *converted {
	c := &converted{src: src, r: resample.New(fromHz, toHz, channels, resample.Options{}), in: make([][2]float64, convertChunk)}
	for range channels {
		c.planar = append(c.planar, make([]float64, convertChunk))
		c.out = append(c.out, make([]float64, convertChunk))
	}
	c.room, c.waiting = make([][]float64, channels), make([][]float64, channels)
	return c
}

func (c *converted) Err() error { return c.src.Err() }

func (c *converted) Stream(dst [][2]float64) (int, bool) {
	total := 0
	for total < len(dst) {
		n := c.some(min(len(dst)-total, convertChunk))
		if n == 0 {
			break
		}
		l, r := c.out[0], c.out[len(c.out)-1]
		for i := range n {
			dst[total+i] = [2]float64{l[i], r[i]}
		}
		total += n
	}
	return total, total > 0 || len(dst) == 0
}

// some brings up to room frames into c.out; 0 only at the end.
func (c *converted) some(room int) int {
	for ch := range c.out {
		c.room[ch] = c.out[ch][:room]
	}
	for {
		if c.have == 0 && !c.ended {
			c.read()
		}
		if c.ended && c.have == 0 {
			return c.r.Flush(c.room)
		}
		for ch := range c.planar {
			c.waiting[ch] = c.planar[ch][c.at : c.at+c.have]
		}
		taken, n := c.r.Process(c.room, c.waiting)
		c.at += taken
		c.have -= taken
		if n > 0 {
			return n
		}
	}
}

func (c *converted) read() {
	n, ok := c.src.Stream(c.in)
	if !ok {
		c.ended = true
		return
	}
	for i, f := range c.in[:n] {
		for ch := range c.planar {
			c.planar[ch][i] = f[ch]
		}
	}
	c.at, c.have = 0, n
}

// front returns frames from..to of every channel.
func front(x [][]float64, from, to int) [][]float64 {
	out := make([][]float64, len(x))
	for c := range x {
		out[c] = x[c][from:to]
	}
	return out
}
