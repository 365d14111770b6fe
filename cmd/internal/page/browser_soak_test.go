package page_test

import (
	"os"
	"runtime"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
)

// TestBrowserSoak plays a scene in a loop with a moving lever for as long as
// TACHBENCH_SOAK says, such as 10m, and prints what became of the line. A
// computer with nothing else to do has no underrun; since nobody promises that
// of the one this runs on, one in two minutes is let pass. What the page and
// the server hold in memory must stay as it is.
func TestBrowserSoak(t *testing.T) {
	length := os.Getenv("TACHBENCH_SOAK")
	if length == "" {
		t.Skip("set TACHBENCH_SOAK, such as 10m, to play for that long")
	}
	d, err := time.ParseDuration(length)
	if err != nil {
		t.Fatalf("TACHBENCH_SOAK: %v", err)
	}
	browser := newBrowser(t, chromium(t))
	s := serveBench(t, depot(t), "127.0.0.1:0")
	b := newTab(t, browser)
	b.do(chromedp.Navigate(s.Address()))
	b.until("the page hears of the machine", `bench.state && bench.state.has_plan`)
	b.click("#start")
	b.until("the sound runs", `bench.context && bench.context.state === 'running' && bench.line && bench.line.leadFrames > 0`)
	b.click("#loop")
	b.click("#play")
	b.until("the scene plays", `bench.state.playing`)
	heap := func() (server, tab float64) {
		runtime.GC()
		var m runtime.MemStats
		runtime.ReadMemStats(&m)
		return float64(m.HeapAlloc) / 1e6, ask[float64](b, `performance.memory.usedJSHeapSize`) / 1e6
	}
	worst := 0.0
	var server, tab float64
	begun := time.Now()
	settled := false
	for next := begun; time.Since(begun) < d; {
		b.key(down, "Space")
		time.Sleep(700 * time.Millisecond)
		b.key(up, "Space")
		time.Sleep(800 * time.Millisecond)
		worst = max(worst, ask[float64](b, `bench.line.latencyMs || 0`))
		if !settled && time.Since(begun) > d/5 {
			settled = true
			server, tab = heap()
		}
		if now := time.Now(); now.After(next) {
			t.Logf("after %3.0f s: %d underruns, lead %.0f ms, lever to sound %.0f ms", now.Sub(begun).Seconds(), ask[int](b, `bench.line.underruns`),
				ask[float64](b, `1000 * bench.line.leadFrames / bench.context.sampleRate`), ask[float64](b, `bench.line.latencyMs || 0`))
			next = now.Add(30 * time.Second)
		}
	}
	serverNow, tabNow := heap()
	underruns := ask[int](b, `bench.line.underruns`)
	t.Logf("%v with a moving lever: %d underruns, lever to sound %.0f ms at most, server's heap %.1f to %.1f MB, page's %.1f to %.1f MB",
		d, underruns, worst, server, serverNow, tab, tabNow)
	if most := int(d / (2 * time.Minute)); underruns > most {
		t.Errorf("%d underruns in %v, at most %d", underruns, d, most)
	}
	if serverNow > server+5 || tabNow > tab+10 {
		t.Errorf("memory grows: server %.1f to %.1f MB, page %.1f to %.1f MB", server, serverNow, tab, tabNow)
	}
	if !ask[bool](b, `bench.state.playing`) {
		t.Error("the scene no longer plays")
	}
}
