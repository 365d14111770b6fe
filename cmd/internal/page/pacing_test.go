package page

import (
	"testing"
	"time"
)

// drain sends all that is due and returns how many blocks that were.
func drain(p *pacing) (n int, first bool) {
	for {
		h, ok := p.due()
		if !ok {
			return n, first
		}
		if n == 0 {
			first = h.first
		}
		n++
	}
}

func TestPacing(t *testing.T) {
	now := time.Unix(0, 0)
	p := newPacing(48000)
	if n, _ := drain(&p); n != 0 {
		t.Fatalf("%d blocks before start", n)
	}
	p.start(now)
	if n, first := drain(&p); n != 4 || !first {
		t.Fatalf("start sends %d blocks, first %v; want 4 of 10 ms", n, first)
	}
	// A block for a block, never more under way than the lead and a block.
	played := int64(0)
	for range 1000 {
		played += 441 // reports come at other times than blocks
		now = now.Add(9 * time.Millisecond)
		p.report(now, played, 0)
		if _, first := drain(&p); first {
			t.Fatal("marked as the first block without a gap")
		}
		if ahead := p.sent - played; ahead < 4*480 || ahead >= 5*480 {
			t.Fatalf("%d frames under way, want 1920 to 2399", ahead)
		}
	}
	// Each underrun lengthens the lead by a block, up to 300 ms.
	p.report(now, played, 3)
	if drain(&p); p.lead != 7 {
		t.Fatalf("lead %d blocks after three underruns, want 7", p.lead)
	}
	p.report(now, played, 1000)
	if p.lead != 30 {
		t.Fatalf("lead %d blocks after many underruns, want 30", p.lead)
	}
	// It comes back a block each 20 s, never under 40 ms.
	for i := range 60 {
		for range 2000 {
			drain(&p)
			played += 480
			p.report(now, played, 1000)
		}
		if want := max(4, 29-int64(i)); p.lead != want {
			t.Fatalf("lead %d blocks after %d s of calm, want %d", p.lead, 20*(i+1), want)
		}
	}
}

func TestPacingOfLiars(t *testing.T) {
	now := time.Unix(0, 0)
	p := newPacing(44100)
	p.report(now, 1e6, 5)
	p.start(now)
	drain(&p)
	p.report(now, 1e15, 0)
	if p.played != 4*441 {
		t.Fatalf("%d frames taken as played, %d were sent", p.played, 4*441)
	}
	p.report(now, 0, 0)
	if p.played != 4*441 {
		t.Fatal("what was played was taken back")
	}
	drain(&p)
	p.start(now)
	if n, first := drain(&p); n != 4 || !first || p.number != 4 {
		t.Fatalf("a new start sends %d blocks, first %v", n, first)
	}
	p.pause()
	p.report(now, 1e6, 0)
	if n, _ := drain(&p); n != 0 {
		t.Fatalf("%d blocks in the pause", n)
	}
}

func TestPacingDeaf(t *testing.T) {
	now := time.Unix(0, 0)
	p := newPacing(48000)
	if p.silence(now.Add(time.Hour)) {
		t.Fatal("deaf before start")
	}
	p.start(now)
	drain(&p)
	if p.silence(now.Add(999 * time.Millisecond)) {
		t.Fatal("deaf after less than a second")
	}
	if !p.silence(now.Add(time.Second)) || p.silence(now.Add(2*time.Second)) {
		t.Fatal("deaf must be told once, after a second")
	}
	if n, _ := drain(&p); n != 0 {
		t.Fatalf("%d blocks to the deaf", n)
	}
	p.report(now.Add(3*time.Second), 4*480, 0)
	if n, first := drain(&p); n != 4 || !first {
		t.Fatalf("%d blocks after the gap, first %v", n, first)
	}
}
