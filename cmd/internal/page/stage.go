package page

import (
	"sync"
	"time"
)

// stage is the one place from which sound is taken: at most one socket is on
// it. What streams belongs to one goroutine; the lock makes it one at a time.
type stage struct {
	mu     sync.Mutex
	player *session
	bench  Bench
	left   time.Time // when the last one went; zero if nobody was there
}

// enter puts s on stage. With another one there it does so only if take is
// set, and returns the other one.
func (g *stage) enter(s *session, take bool) (before *session, ok bool) {
	g.mu.Lock()
	defer g.mu.Unlock()
	before = g.player
	if before != nil && before != s && !take {
		return before, false
	}
	g.player = s
	if before == s {
		before = nil
	}
	if !g.left.IsZero() && time.Since(g.left) > longAway {
		g.silence()
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

// open reports whether s may work the controls: it is on stage, or nobody is.
func (g *stage) open(s *session) bool {
	g.mu.Lock()
	defer g.mu.Unlock()
	return g.player == nil || g.player == s
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
	}
}

// silence silences the bench and throws the end of its sound away.
func (g *stage) silence() {
	g.bench.Silence()
	away := make([][2]float64, g.bench.RateHz()/20)
	g.bench.Stream(away)
}
