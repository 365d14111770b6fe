package note

import "github.com/gopxl/beep/v2"

// A Note is a beep.Streamer, so that it mixes, meters and plays with
// everything that speaks that interface. beep counts two channels; a mono
// note gives the same to both.
var _ beep.Streamer = (*Note)(nil)

// streamChunk is how many frames Stream makes at a time.
const streamChunk = 512

// Stream fills samples with the next frames; see beep.Streamer. It returns
// ok false once the note has ended.
func (n *Note) Stream(samples [][2]float64) (int, bool) {
	if n.planarOne[0] == nil {
		for c := range n.planarOne {
			n.planarOne[c] = make([]float64, streamChunk)
		}
	}
	total := 0
	for total < len(samples) {
		k := min(streamChunk, len(samples)-total)
		l, r := n.planarOne[0][:k], n.planarOne[1][:k]
		var got int
		if n.bank.Channels == 1 {
			n.monoView[0] = l
			got = n.Fill(n.monoView[:])
			r = l
		} else {
			n.stereoView = [2][]float64{l, r}
			got = n.Fill(n.stereoView[:])
		}
		for i := 0; i < got; i++ {
			samples[total+i] = [2]float64{l[i], r[i]}
		}
		total += got
		if got < k {
			break
		}
	}
	return total, total > 0 || len(samples) == 0
}

// Err returns nil: a note cannot fail once its bank is there.
func (n *Note) Err() error { return nil }

// Format returns the note's rate for beep; samples are floats until a device
// or a file decides.
func (n *Note) Format() beep.Format {
	return beep.Format{SampleRate: beep.SampleRate(n.bank.RateHz), NumChannels: n.bank.Channels, Precision: 3}
}
