package samples

import (
	"fmt"
	"io"
)

// Info is what a file says about its sound, after the claims were checked
// against the file's real size.
type Info struct {
	Format   string // "wav", "flac", "ogg", "mp3"
	RateHz   int
	Channels int
	BitDepth int    // valid bits a sample; 0 where the format has none (ogg, mp3)
	Float    bool   // IEEE float samples
	Mask     uint32 // speaker positions, WAVE_FORMAT_EXTENSIBLE bits; 0 unknown
	Frames   int64  // frames that can be read; -1 when only reading to the end tells
	Loops    []Loop
	Cues     []Cue
	Tags     map[string]string // text found beside the sound (LIST INFO ids, comment names)
	Loudness *Loudness         // from bext version 2; nil if not stored
}

// DurationS returns the length in seconds, or 0 if Frames is unknown.
func (i Info) DurationS() float64 {
	if i.Frames < 0 || i.RateHz <= 0 {
		return 0
	}
	return float64(i.Frames) / float64(i.RateHz)
}

// Loop is a region to be repeated. Start is its first frame, End the frame
// after its last one (a `smpl` chunk stores the last frame itself).
type Loop struct {
	Start, End int64
	Plays      int // 0 = endless
}

// Cue is a named position; Length is 0 for a point.
type Cue struct {
	Frame, Length int64
	Label         string
}

// Loudness is the metadata of EBU Tech 3285 v2 (bext). NaN means not set.
type Loudness struct {
	IntegratedLUFS, RangeLU, TruePeakDBTP, MomentaryMaxLUFS, ShortTermMaxLUFS float64
}

// Reader yields the frames of an open file in order.
type Reader interface {
	// Info may be called at any time. It never changes.
	Info() Info
	// Read fills dst (one slice per channel, all of equal length) and
	// returns the number of frames written to the front of every slice.
	// Nothing past that count is touched. At the end it returns 0, io.EOF.
	// A file that ends early returns its good frames first and then 0 and a
	// *TruncatedError.
	Read(dst [][]float64) (int, error)
	io.Closer
}

// TruncatedError says that a file ended before the frames it promised. What
// was read before it is good.
type TruncatedError struct {
	Got, Promised int64  // frames
	Where         string // what broke, in words; may be empty
}

func (e *TruncatedError) Error() string {
	s := fmt.Sprintf("truncated: %d of %d promised frames are there, %d missing", e.Got, e.Promised, e.Promised-e.Got)
	if e.Promised <= 0 {
		s = fmt.Sprintf("broken after frame %d", e.Got)
	}
	if e.Where != "" {
		s += " (" + e.Where + ")"
	}
	return s
}
