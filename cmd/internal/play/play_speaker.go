//go:build !linux || alsa

package play

import (
	"github.com/gopxl/beep/v2"
	"github.com/gopxl/beep/v2/speaker"
)

// openSystem opens beep's speaker: 16 bits, cut at full scale, which a stream
// under its ceiling never reaches. The speaker exists once in a process.
func openSystem(rateHz int, pull func([][2]float64), _ func(error)) (sink, error) {
	rate := beep.SampleRate(rateHz)
	if err := speaker.Init(rate, int(BufferS*float64(rateHz))); err != nil {
		return nil, err
	}
	return speakerSink(pull), nil
}

type speakerSink func([][2]float64)

func (s speakerSink) start() error {
	speaker.Play(beep.StreamerFunc(func(dst [][2]float64) (int, bool) {
		s(dst)
		return len(dst), true
	}))
	return nil
}

func (speakerSink) close() { speaker.Close() }

// underruns is 0: the speaker does not tell.
func (speakerSink) underruns() int64 { return 0 }
