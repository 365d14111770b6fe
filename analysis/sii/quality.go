package sii

// Quality is an index in one word.
type Quality int

const (
	Lost       Quality = iota // below 0.30: no use to the player
	Guessable                 // 0.30 and over: to those who know the callout
	Understood                // 0.45 and over: about nine sentences in ten
	Clear                     // 0.60 and over: about all of them
)

// The lower limits of the bands. Connected sentences of the Connected Speech
// Test are understood to 60 % at 0.30, 90 % at 0.45 and 98 % at 0.60; the
// names are ours.
const (
	GuessableFrom  = 0.30
	UnderstoodFrom = 0.45
	ClearFrom      = 0.60
)

// Judge returns the band an index lies in. NaN is lost.
func Judge(index float64) Quality {
	switch {
	case index >= ClearFrom:
		return Clear
	case index >= UnderstoodFrom:
		return Understood
	case index >= GuessableFrom:
		return Guessable
	}
	return Lost
}

func (q Quality) String() string {
	return [...]string{"lost", "guessable", "understood", "clear"}[q]
}

// sentences is the transfer function of the Connected Speech Test (Sherbecoe
// and Studebaker 2002), per cent of connected sentences understood by normal
// hearing, as tabulated in an audiology instrument's manual.
var sentences = [...]struct{ index, percent float64 }{
	{0, 0}, {0.10, 1}, {0.15, 8}, {0.20, 20}, {0.25, 45}, {0.30, 60}, {0.35, 74}, {0.40, 84},
	{0.45, 90}, {0.50, 94}, {0.55, 96}, {0.60, 98}, {0.70, 99}, {0.80, 100}, {1, 100},
}

// SentencesPercent returns about how many of 100 connected sentences are
// understood at an index, linear between the points of the published table.
// Single words without context score lower.
func SentencesPercent(index float64) float64 {
	if !(index > 0) {
		return 0
	}
	for i := 1; i < len(sentences); i++ {
		a, b := sentences[i-1], sentences[i]
		if index <= b.index {
			return a.percent + (b.percent-a.percent)*(index-a.index)/(b.index-a.index)
		}
	}
	return 100
}
