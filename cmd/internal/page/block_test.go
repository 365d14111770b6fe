package page

import (
	"math"
	"runtime"
	"testing"
	"time"
)

func TestAppendBlock(t *testing.T) {
	got := appendBlock(nil, header{first: true, number: 0x01020304, seq: 5, lead: 1920}, [][2]float64{{1, -0.5}})
	// By hand from the layout; 1 and -0.5 as IEEE 754 singles.
	want := []byte{1, 1, 1, 0, 4, 3, 2, 1, 5, 0, 0, 0, 0x80, 7, 0, 0, 0, 0, 0x80, 0x3f, 0, 0, 0, 0xbf}
	if string(got) != string(want) {
		t.Errorf("% x, want % x", got, want)
	}
}

// A block costs no memory: a collector at work is a gap in the sound.
func TestBlockAllocatesNothing(t *testing.T) {
	p, frames, wire := newPacing(48000), make([][2]float64, 480), make([]byte, 0, headerBytes+480*frameBytes)
	d := &double{}
	g, s := stage{bench: d}, &session{}
	g.enter(s, false, false)
	p.start(time.Now())
	if n := testing.AllocsPerRun(100, func() {
		h, ok := p.due()
		if !ok || !g.fill(s, frames) {
			t.Fatal("nothing due")
		}
		wire = appendBlock(wire[:0], h, frames)
		p.report(p.heard, p.sent, 0)
	}); n != 0 {
		t.Errorf("%g allocations a block", n)
	}
}

func BenchmarkAppendBlock(b *testing.B) {
	frames, wire := make([][2]float64, 480), make([]byte, 0, headerBytes+480*frameBytes)
	for i := range frames {
		frames[i] = [2]float64{math.Sin(float64(i)), math.Cos(float64(i))}
	}
	b.ReportAllocs()
	for b.Loop() {
		wire = appendBlock(wire[:0], header{}, frames)
	}
	b.ReportMetric(float64(b.N)*0.01/b.Elapsed().Seconds(), "x-realtime")
}

// Ten minutes of sound as fast as it goes, with a hand on the lever all along:
// every block in its place, and memory stays flat.
func TestSoak(t *testing.T) {
	if testing.Short() {
		t.Skip("some seconds")
	}
	d := &double{}
	s := serving(t, d)
	b := open(t, s)
	b.send(`{"do":"start"}`)
	heap := func() uint64 {
		d.mu.Lock()
		d.calls = nil
		d.mu.Unlock()
		runtime.GC()
		var m runtime.MemStats
		runtime.ReadMemStats(&m)
		return m.HeapAlloc
	}
	const blocks = soakMinutes * 60 * blocksPerS
	var before uint64
	for i := range blocks {
		k := b.block()
		if k.number != uint32(i) || k.lead != minLead*480 || k.first != (i == 0) || k.left[0] != float32(i*480%1024)/1024 {
			t.Fatalf("block %d: %+v", i, k.header)
		}
		if i == blocks/10 {
			before = heap()
		}
		if i%10 == 0 {
			b.send(`{"do":"lever","value":0.` + string(rune('0'+i/10%10)) + `,"seq":1}`)
		}
		if i%3 == 0 { // reports need not come block by block
			b.played(int64(i+1)*480, 0)
		}
	}
	if after := heap(); after > before+1<<20 {
		t.Errorf("%d KB in use at the end, %d KB after a tenth", after>>10, before>>10)
	}
}
