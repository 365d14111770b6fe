package defect

import (
	"math"

	"tachbench/samples"
)

// Speaker bits of WAVE_FORMAT_EXTENSIBLE that fold-down treats in their own way.
const (
	maskCentre = 0x4
	maskLFE    = 0x8
	maskRear   = 0x10 | 0x20 | 0x100 | 0x200 | 0x400
)

// speakers returns the mask bit of each channel, 0 where it is not known. A
// file without a mask is taken in the usual order of its channel count.
func speakers(info samples.Info) []uint32 {
	mask := info.Mask
	if mask == 0 {
		switch info.Channels {
		case 5:
			mask = 0x37
		case 6:
			mask = 0x3f
		case 8:
			mask = 0x63f
		}
	}
	out := make([]uint32, info.Channels)
	c := 0
	for bit := uint32(1); bit != 0 && c < len(out); bit <<= 1 {
		if mask&bit != 0 {
			out[c] = bit
			c++
		}
	}
	return out
}

// fold is the sound as a machine with one speaker plays it, folded down after
// ITU-R BS.775: front channels with fold_gain_db, centre in full, rear
// channels 3 dB lower still, LFE left out.
type fold struct {
	weights []float64
	limit   float64 // amplitude
	mono    []float64
	sum     float64 // Σ of the fold squared
	peak    float64
	peakAt  int64
	first   int64 // first frame over the limit, -1 none
}

func newFold(info samples.Info, opt Options) *fold {
	f := &fold{
		weights: make([]float64, info.Channels),
		limit:   samples.DBAmplitude(opt.Limit("fold_peak_dbfs")),
		mono:    make([]float64, info.RateHz/1000*ticksPerChunk),
		first:   -1,
	}
	front := samples.DBAmplitude(opt.Limit("fold_gain_db"))
	for c, bit := range speakers(info) {
		switch {
		case info.Channels == 1 || bit == maskCentre:
			f.weights[c] = 1
		case bit == maskLFE:
			f.weights[c] = 0
		case bit&maskRear != 0:
			f.weights[c] = front * math.Sqrt2 / 2
		default:
			f.weights[c] = front
		}
	}
	return f
}

// process folds the chunk at frame pos and returns it.
func (f *fold) process(views [][]float64, pos int64) []float64 {
	mono := f.mono[:len(views[0])]
	peak, at, sq := foldDown(mono, views, f.weights)
	f.sum += sq
	if peak > f.peak {
		f.peak, f.peakAt = peak, pos+int64(at)
	}
	return mono
}

func (f *fold) findings(rateHz float64, opt Options) []Finding {
	if len(f.weights) == 1 || f.peak <= f.limit {
		return nil
	}
	over, limit := samples.AmplitudeDB(f.peak), opt.Limit("fold_peak_dbfs")
	n := decimalsApart(over, limit, 2)
	return []Finding{found("fold-down-overload", float64(f.peakAt)/rateHz, allChannels,
		reading{value: over, limit: limit, unit: "dBFS"},
		"Folded down to mono the peak is %s dBFS, the limit is %s dBFS.", signed(over, n), signed(limit, n))}
}

// pair compares two channels that belong together.
type pair struct {
	a, b       int
	aa, bb, ab float64
	diff       float64 // Σ(a-b)²
}

// newPairs returns left and right of each place; without known places,
// neighbours.
func newPairs(info samples.Info) []pair {
	sp := speakers(info)
	twins := map[uint32]uint32{0x1: 0x2, 0x10: 0x20, 0x40: 0x80, 0x200: 0x400, 0x1000: 0x4000, 0x8000: 0x20000}
	var out []pair
	for a, bit := range sp {
		for b := a + 1; b < len(sp) && bit != 0; b++ {
			if twins[bit] != 0 && sp[b] == twins[bit] {
				out = append(out, pair{a: a, b: b})
			}
		}
	}
	if sp[0] == 0 {
		for a := 0; a+1 < len(sp); a += 2 {
			out = append(out, pair{a: a, b: a + 1})
		}
	}
	return out
}

func (p *pair) process(views [][]float64) {
	x, y := views[p.a], views[p.b]
	y = y[:len(x)]
	var aa, bb, ab, dd float64
	for i, a := range x {
		b := y[i]
		aa += a * a
		bb += b * b
		ab += a * b
		dd += (a - b) * (a - b)
	}
	p.aa, p.bb, p.ab, p.diff = p.aa+aa, p.bb+bb, p.ab+ab, p.diff+dd
}

// deadFloorDBFS: a channel is dead only beside one that is louder than this.
const deadFloorDBFS = -60.0

// channelFindings reports dead and identical channels, polarity and the loss
// on fold-down.
func (s *Scan) channelFindings() []Finding {
	if len(s.chans) < 2 {
		return nil
	}
	var out []Finding
	loudest, n := 0.0, float64(s.written)
	for _, ch := range s.chans {
		loudest = max(loudest, ch.energy/n)
	}
	dead := make([]bool, len(s.chans))
	limit := s.opt.Limit("dead_channel_db")
	for c, bit := range speakers(s.info) {
		under := samples.PowerDB(loudest) - samples.PowerDB(s.chans[c].energy/n)
		if samples.PowerDB(loudest) < deadFloorDBFS || under < limit || bit == maskLFE {
			continue
		}
		dead[c] = true
		if math.IsInf(under, 1) {
			out = append(out, found("dead-channel", wholeFile, c, reading{value: math.NaN(), limit: limit, unit: "dB"},
				"Channel %d is digital silence.", c+1))
			continue
		}
		out = append(out, found("dead-channel", wholeFile, c, reading{value: under, limit: limit, unit: "dB"},
			"Channel %d is %.0f dB under the loudest one.", c+1, under))
	}
	opposite := false
	for _, p := range s.pairs {
		if dead[p.a] || dead[p.b] || p.aa == 0 || p.bb == 0 {
			continue
		}
		same, limit := samples.PowerDB((p.aa+p.bb)/2)-samples.PowerDB(p.diff), s.opt.Limit("identical_db")
		if same >= limit {
			r := reading{value: same, limit: limit, unit: "dB"}
			how := fmtUnder(same)
			if p.diff == 0 {
				r.value = math.NaN()
				how = "equal to the last bit"
			}
			out = append(out, found("channels-identical", wholeFile, allChannels, r,
				"Channels %d and %d are %s.", p.a+1, p.b+1, how))
		}
		if corr, limit := p.ab/math.Sqrt(p.aa*p.bb), s.opt.Limit("opposite_correlation"); corr <= limit {
			opposite = true
			out = append(out, found("opposite-polarity", wholeFile, allChannels, reading{value: corr, limit: limit},
				"Channels %d and %d move against each other, correlation %.2f.", p.a+1, p.b+1, corr))
		}
	}
	apart := 0.0
	for c, ch := range s.chans {
		apart += s.fold.weights[c] * s.fold.weights[c] * ch.energy
	}
	loss, limitLoss := samples.PowerDB(apart)-samples.PowerDB(s.fold.sum), s.opt.Limit("fold_loss_db")
	if apart > 0 && !opposite && loss >= limitLoss {
		r := reading{value: loss, limit: limitLoss, unit: "dB"}
		if math.IsInf(loss, 0) {
			r.value = math.NaN()
		}
		out = append(out, found("fold-down-loss", wholeFile, allChannels, r,
			"Folded down to mono it is %.0f dB quieter than its channels apart.", loss))
	}
	return out
}
