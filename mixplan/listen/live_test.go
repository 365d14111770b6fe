package listen_test

import (
	"context"
	"math"
	"sync"
	"testing"
	"time"

	"tachbench/mixplan/listen"
	"tachbench/samples"
)

func everything(t testing.TB, d desk) *listen.Bench {
	b := d.bench(t)
	setPlan(t, b, plan())
	b.Planned(true)
	play(t, b, d.scene, true)
	b.Drive(listen.ByLever)
	b.Lever(0.6)
	b.InHall(true)
	b.ThroughCabinet(true)
	hear(b, 1)
	return b
}

// A block takes no new memory. The measurement at the ear, six times a second,
// and the loudness, ten times, do.
func TestNoNewMemory(t *testing.T) {
	d := machine(t, true, "")
	b := everything(t, d)
	block := make([][2]float64, 480)
	if n := testing.AllocsPerRun(100, func() { b.Stream(block) }); n > 0 {
		t.Errorf("%g allocations a block of 10 ms", n)
	}
}

// Everybody works the controls at once; run with -race.
func TestManyHands(t *testing.T) {
	d := machine(t, true, "")
	b := d.bench(t)
	ctx, cancel := context.WithTimeout(context.Background(), 700*time.Millisecond)
	defer cancel()
	var wg sync.WaitGroup
	for _, f := range []func(int){
		func(i int) { b.Lever(float64(i%3) / 2); b.Slide(float64(2000+i%4000), 0.5) },
		func(i int) { b.Drive(listen.Drive(i % 3)); time.Sleep(time.Millisecond) },
		func(i int) { _ = b.Play(ctx, d.scene, i%2 == 0); time.Sleep(20 * time.Millisecond) },
		func(i int) {
			if i%3 == 0 {
				_ = b.SetPlan(ctx, nil)
			} else {
				_ = b.SetPlan(ctx, plan())
			}
		},
		func(i int) { b.Planned(i%2 == 0); b.InHall(i%5 == 0); b.ThroughCabinet(i%3 == 0); b.Loop(i%2 == 0) },
		func(i int) {
			b.Fader("music", float64(i%20-10))
			b.Mute("effect", i%2 == 0)
			b.Solo("callout", i%3 == 0)
		},
		func(i int) {
			if time.Sleep(30 * time.Millisecond); i%3 == 0 {
				b.Silence()
			} else if i%3 == 1 {
				b.Stop()
			}
		},
		func(i int) { b.Volume(float64(-i % 60)); b.ResetHolds(); _ = b.Snapshot() },
	} {
		wg.Go(func() {
			for i := 0; ctx.Err() == nil; i++ {
				f(i)
			}
		})
	}
	block := make([][2]float64, 480)
	for ctx.Err() == nil {
		if n, ok := b.Stream(block); n != len(block) || !ok || b.Err() != nil {
			t.Fatal("the stream ended")
		}
		for _, f := range block {
			if !samples.Usable(f[0]) || !samples.Usable(f[1]) || math.Abs(f[0]) > 1.01 {
				t.Fatalf("sample %g", f)
			}
		}
	}
	wg.Wait()
}

// Loop may change its mind while the scene plays; Stop and the end of a scene
// are told.
func TestLoopAndStop(t *testing.T) {
	d := machine(t, false, "")
	b := d.bench(t)
	play(t, b, d.scene, true)
	if s := b.Snapshot(); !s.Playing || s.Scene != "x" || s.LengthS != 4 || !s.Looping || s.PositionS != 0 {
		t.Errorf("before the first block: %+v", s)
	}
	hear(b, 4.5)
	if s := b.Snapshot(); !s.Playing || math.Abs(s.PositionS-0.5) > 1e-9 {
		t.Errorf("second lap: at %g", s.PositionS)
	}
	b.Loop(false)
	hear(b, 3.6)
	s := b.Snapshot()
	if s.Playing || s.PositionS != 4 {
		t.Errorf("after it: at %g", s.PositionS)
	}
	if x := hear(b, 0.1); samples.RMS(x.Chans[0][2000:]) != 0 {
		t.Error("it goes on")
	}
	play(t, b, d.scene, true)
	hear(b, 1)
	b.Stop()
	x := hear(b, 0.2)
	if s := b.Snapshot(); s.Playing || samples.RMS(x.Chans[0][2000:]) != 0 {
		t.Error("it does not stop")
	}
	if got := step(x.Chans[0][:2000]); got > 0.4 { // white noise of 0.05
		t.Errorf("a step of %g", got)
	}
	// The Stop of somebody who sees that it takes too long.
	setPlan(t, b, plan())
	done := make(chan error)
	go func() { done <- b.Play(context.Background(), d.scene, false) }()
	for range 100 {
		b.Stop()
		time.Sleep(time.Millisecond)
		if s := b.Snapshot(); s.Playing {
			break // it was faster
		}
	}
	if err := <-done; err != nil {
		t.Error(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if err := b.Play(ctx, d.scene, false); err == nil {
		t.Error("cancelled, no error")
	}
	other := *d.scene
	other.RateHz = 44100
	if err := b.Play(context.Background(), &other, false); err == nil {
		t.Error("another rate, no error")
	}
}

func BenchmarkStream(bb *testing.B) {
	for name, extra := range map[string]string{
		"low cut":  "",
		"response": "[listening]\nlevel_at_ear_db = 80\nnoise_dba = 74\nspeaker_response = \"r.csv\"\n",
	} {
		bb.Run(name, func(bb *testing.B) {
			d := machine(bb, true, extra)
			b := everything(bb, d)
			block := make([][2]float64, 480)
			bb.ReportAllocs()
			frames := 0
			for bb.Loop() {
				b.Stream(block)
				frames += len(block)
			}
			bb.ReportMetric(float64(frames)/rate/bb.Elapsed().Seconds(), "x-realtime")
		})
	}
}

func BenchmarkSnapshot(bb *testing.B) {
	b := everything(bb, machine(bb, true, ""))
	bb.ReportAllocs()
	for bb.Loop() {
		b.Snapshot()
	}
}
