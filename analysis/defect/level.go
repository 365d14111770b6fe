package defect

import (
	"math"

	"tachbench/samples"
)

// levels is a histogram of the mean power of chunks, from which the active
// level follows, and the quietest steady stretches, which are the noise floor.
type levels struct {
	count [levelClasses]float64
	power [levelClasses]float64
	all   float64 // chunks
	sum   float64 // Σ power
	db    [levelRing]float64
	n     int // chunks with a level
	quiet [floorWindows]float64
	kept  int
}

const (
	levelClasses = 300
	levelLowDB   = -130.0
	levelClassDB = 0.5
	levelRing    = 32 // chunks; a power of two
	// marginDB is the distance of ITU-T P.56 (clause 6, from memory) between
	// the active level and the threshold that tells activity from pause. P.56
	// adds an envelope filter and a hangover; here the chunks play that part.
	marginDB = 15.9

	floorChunks     = 10    // a stretch of 100 ms
	floorHop        = 5     // every 50 ms
	floorSteadyDB   = 7.0   // its chunks may differ by so much
	floorWindows    = 12    // quietest stretches kept
	floorNeeded     = 4     // and needed for a reading
	floorAgreeDB    = 5.0   // the needed ones must agree within
	floorUnderDB    = 6.0   // what is so far under the floor
	floorUnderShare = 0.05  // may be so much of the sound
	zeroDB          = -100. // under this it is digital silence, not noise
)

func newLevels() *levels { return &levels{} }

// process takes the mean power of the next chunk of n samples out of whole.
func (l *levels) process(power float64, n, whole int) {
	db := samples.PowerDB(power)
	i := int(math.Floor((max(db, levelLowDB) - levelLowDB) / levelClassDB))
	i = min(max(i, 0), levelClasses-1)
	w := float64(n) / float64(whole)
	l.count[i] += w
	l.power[i] += power * w
	l.all += w
	l.sum += power * w
	if n < whole {
		return
	}
	l.db[l.n&(levelRing-1)] = db
	l.n++
	if l.n >= floorChunks && l.n%floorHop == 0 {
		l.window()
	}
}

// last returns the level of the chunk k back, 0 the newest.
func (l *levels) last(k int) float64 { return l.db[(l.n-1-k)&(levelRing-1)] }

// window looks whether the newest stretch is steady and among the quietest.
func (l *levels) window() {
	lo, hi, mean := math.Inf(1), math.Inf(-1), 0.0
	for k := range floorChunks {
		v := l.last(k)
		lo, hi = min(lo, v), max(hi, v)
		if v < zeroDB {
			return
		}
		mean += v / floorChunks
	}
	if hi-lo > floorSteadyDB {
		return
	}
	if l.kept < floorWindows {
		l.kept++
	} else if mean >= l.quiet[l.kept-1] {
		return
	}
	i := l.kept - 1
	for i > 0 && l.quiet[i-1] > mean {
		l.quiet[i] = l.quiet[i-1]
		i--
	}
	l.quiet[i] = mean
}

// active returns the active level in dBFS (power re 1): the mean over the
// chunks within marginDB of it and above, after P.56. Sound without pauses is
// active all through.
func (l *levels) active() float64 {
	var n, p float64
	best := samples.PowerDB(l.sum / max(l.all, 1e-9))
	for i := levelClasses - 1; i >= 0; i-- {
		n += l.count[i]
		p += l.power[i]
		if l.count[i] == 0 {
			continue
		}
		mean := samples.PowerDB(p / n)
		if mean-(levelLowDB+float64(i)*levelClassDB) >= marginDB {
			return mean
		}
	}
	return best
}

// floor returns the level of the noise in the pauses in dBFS (power re 1),
// false if there are no steady pauses to hear it in, or if much of the sound is
// quieter than they are, digital silence apart: then they are no floor.
func (l *levels) floor() (db float64, ok bool) {
	if l.kept < floorNeeded || l.quiet[floorNeeded-1]-l.quiet[0] > floorAgreeDB {
		return 0, false
	}
	db = l.quiet[floorNeeded/2]
	var under, all float64
	for i, n := range l.count {
		class := levelLowDB + (float64(i)+0.5)*levelClassDB
		if class > zeroDB {
			all += n
		}
		if class > zeroDB && class < db-floorUnderDB {
			under += n
		}
	}
	return db, under <= floorUnderShare*all
}

// noiseFindings reports hum and hiss.
func (s *Scan) noiseFindings() []Finding {
	var out []Finding
	if s.hum != nil {
		out = append(out, s.hum.findings(s.level.active(), s.opt)...)
	}
	if !s.opt.applies("hiss") {
		return out
	}
	floor, ok := s.level.floor()
	active := s.level.active()
	limit := s.opt.Limit("speech_to_noise_db")
	// A stretch that is not well below the speech is speech, not a pause.
	if ok && active-floor >= hissPauseDB && active-floor < limit {
		out = append(out, found("hiss", wholeFile, allChannels, reading{value: active - floor, limit: limit, unit: "dB"},
			"The noise in the pauses is only %s dB under the speech.", level(active-floor, decimalsApart(active-floor, limit, 0))))
	}
	return out
}

// hissPauseDB is the least distance from the active level of a pause.
const hissPauseDB = 12
