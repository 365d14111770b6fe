package page

import (
	"sync"
	"time"

	"tachbench/mixplan/listen"
)

// stage is the one place from which sound is taken: at most one socket is on
// it. What streams belongs to one goroutine; the lock makes it one at a time.
type stage struct {
	mu     sync.Mutex
	player *session
	bench  Bench
	left   time.Time // when the last one went; zero if nobody was there

	startVolumeDB float64
	fresh         bool // nobody has pressed Silence since the playing began
}

// enter puts s on stage. With another one there it does so only if take is
// set, and returns the other one. Whoever was not there just before, by itself
// or, with again, by the line that it lost, begins at the start volume.
func (g *stage) enter(s *session, take, again bool) (before *session, ok bool) {
	g.mu.Lock()
	defer g.mu.Unlock()
	before = g.player
	if before != nil && before != s && !take {
		return before, false
	}
	if before == s {
		return nil, true
	}
	g.player = s
	long := !g.left.IsZero() && time.Since(g.left) > longAway
	if long {
		g.silence()
	}
	if goesOn := again && before == nil && !g.left.IsZero() && !long; !goesOn {
		g.fresh = true
		g.soften()
	}
	g.left = time.Time{}
	return before, true
}

// leave takes s off stage; false if it was not there.
func (g *stage) leave(s *session) bool {
	g.mu.Lock()
	defer g.mu.Unlock()
	if g.player != s {
		return false
	}
	g.player, g.left = nil, time.Now()
	return true
}

// holds reports whether s is on stage, and whether anybody is.
func (g *stage) holds(s *session) (mine, taken bool) {
	g.mu.Lock()
	defer g.mu.Unlock()
	return g.player == s, g.player != nil
}

// fill takes the next frames for s; false if s is not on stage.
func (g *stage) fill(s *session, frames [][2]float64) bool {
	g.mu.Lock()
	defer g.mu.Unlock()
	if g.player != s {
		return false
	}
	n, _ := g.bench.Stream(frames)
	clear(frames[n:])
	return true
}

// hush lets s go on from silence.
func (g *stage) hush(s *session) {
	g.mu.Lock()
	defer g.mu.Unlock()
	if g.player == s {
		g.silence()
		g.fresh = true
	}
}

// pressed silences the bench because somebody wants it silent.
func (g *stage) pressed() {
	g.mu.Lock()
	defer g.mu.Unlock()
	g.fresh = false
	g.bench.Silence()
}

// silence silences the bench because nobody listened.
func (g *stage) silence() {
	g.bench.Silence()
	g.throwAway()
}

// soften puts the volume where it began.
func (g *stage) soften() {
	if g.bench.Snapshot().VolumeDB == g.startVolumeDB {
		return
	}
	g.bench.Volume(g.startVolumeDB)
	g.throwAway()
}

// throwAway passes over what is still on its way: nobody is to hear the end of
// a sound or of a louder volume. The bench glides for 20 ms.
func (g *stage) throwAway() {
	away := make([][2]float64, g.bench.RateHz()/20)
	g.bench.Stream(away)
}

// snapshot is that of the bench. It tells of a silence only if somebody asked
// for it.
func (g *stage) snapshot() listen.Snapshot {
	g.mu.Lock()
	fresh := g.fresh
	g.mu.Unlock()
	now := g.bench.Snapshot()
	now.Silenced = now.Silenced && !fresh
	return now
}
