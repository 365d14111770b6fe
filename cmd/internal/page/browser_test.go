package page_test

import (
	"context"
	"errors"
	"fmt"
	"math"
	"net"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/cdproto/log"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"

	"tachbench/cmd/internal/page"
	"tachbench/mixplan"
	"tachbench/mixplan/ear"
	"tachbench/mixplan/engine"
	"tachbench/mixplan/listen"
	"tachbench/mixplan/scene"
	"tachbench/samples"
	"tachbench/samples/crank"
	"tachbench/samples/sheet"
	"tachbench/samples/tone"
	"tachbench/samples/wav"
)

const (
	browserRateHz = 48000
	musicDepthDB  = 9
)

// browserSheet is a package with an engine of two even firings a revolution, a
// callout and music.
const browserSheet = `title = "Sled <test>"
sample_rate = 48000
bit_depth = 16
[engine]
cylinders = 2
strokes = 2
firing_angles = [0, 180]
idle_rpm = 2000
redline_rpm = 6000
[engine.crank]
rise_s = 0.6
fall_s = 0.8
[[engine.recording]]
file = "hold-2000.wav"
rpm = 2000
[[engine.recording]]
file = "hold-3000.wav"
rpm = 3000
[[engine.recording]]
file = "hold-4400.wav"
rpm = 4400
[[engine.recording]]
file = "hold-6000.wav"
rpm = 6000
[category.callout]
files = ["callout.wav"]
priority = 2
[category.music]
files = ["music.wav"]
priority = 1
[listening]
level_at_ear_db = 82
noise_dba = 70
noise_shape = "crowd"
[[rev_band]]
name = "low"
from_rpm = 2000
to_rpm = 3500
lamp = "#3b6ea5"
[[rev_band]]
name = "catch"
from_rpm = 3500
to_rpm = 5000
catch = true
lamp = "#c8a400"
[[rev_band]]
name = "over"
from_rpm = 5000
to_rpm = 6000
lamp = "#a8352a"
[[scene]]
name = "meet"
length_s = 6
[[scene.cue]]
at_s = 0
sound = "music.wav"
loop = true
[[scene.cue]]
at_s = 0.5
sound = "callout.wav"
`

// depot writes the package and reads it back.
func depot(t *testing.T) *sheet.Sheet {
	t.Helper()
	dir := t.TempDir()
	write := func(name string, s *samples.Sound) {
		t.Helper()
		f, err := os.Create(filepath.Join(dir, name))
		if err != nil {
			t.Fatal(err)
		}
		if err := errors.Join(wav.Encode(f, s, wav.SpecOf(s, 16)), f.Close()); err != nil {
			t.Fatal(err)
		}
	}
	for _, rpm := range []float64{2000, 3000, 4400, 6000} {
		s, _ := tone.Engine(tone.EngineSpec{
			Layout: crank.Layout{Cylinders: 2, Strokes: 2}, RPM: tone.Hold(rpm), DurationS: 3,
			RateHz: browserRateHz, Seed: uint64(rpm),
		})
		write(fmt.Sprintf("hold-%.0f.wav", rpm), s)
	}
	write("callout.wav", tone.Pink(browserRateHz, 4, 0.08, 7))
	write("music.wav", tone.Pink(browserRateHz, 2, 0.05, 8))
	sh, err := sheet.Parse("soundsheet.toml", []byte(browserSheet), dir)
	if err != nil {
		t.Fatal(err)
	}
	return sh
}

// served is a page with a true bench behind it.
type served struct {
	*page.Server
	stop func() // ends it; may be called twice

	mu  sync.Mutex
	met [][2]int // cells of the map that were asked for
}

func serveBench(t *testing.T) *served {
	t.Helper()
	sh := depot(t)
	chain, err := ear.New(sh.Listening)
	if err != nil {
		t.Fatal(err)
	}
	eng, _, err := engine.Load(sh)
	if err != nil {
		t.Fatal(err)
	}
	bench, err := listen.New(listen.Options{Sheet: sh, Engine: eng, Chain: chain, Seed: 1})
	if err != nil {
		t.Fatal(err)
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	lib := scene.NewLibrary(sh.SampleRateHz)
	s := &served{}
	if s.Server, err = page.New(page.Options{Sheet: sh, Library: lib, Chain: chain, HasEngine: true, Bench: bench}, l); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- s.Serve(ctx) }()
	s.stop = sync.OnceFunc(func() {
		cancel()
		if err := <-ended; err != nil {
			t.Error(err)
		}
	})
	t.Cleanup(s.stop)
	plan := page.Plan{
		Plan: &mixplan.Plan{Ducks: []mixplan.Duck{
			{Under: "callout", Category: "music", DepthDB: musicDepthDB, AttackMS: 100, HoldMS: 250, ReleaseMS: 300, LookaheadMS: 60},
		}},
		Map: page.Map{RPM: []float64{2000, 4000, 6000}, Callouts: []page.MapCallout{
			{Path: "callout.wav", SIIPlain: 0.31, SIIPlanned: 0.52, Plain: []float64{0.48, 0.33, 0.2}, Planned: []float64{0.63, 0.52, 0.41}},
		}},
		Meeting: func(callout, step int) (*scene.Timeline, error) {
			s.mu.Lock()
			s.met = append(s.met, [2]int{callout, step})
			s.mu.Unlock()
			return scene.Build(sh, lib, "meet")
		},
	}
	if err := s.PlanReady(ctx, plan); err != nil {
		t.Fatal(err)
	}
	return s
}

// chromium returns the browser, or skips the test with the reason.
func chromium(t *testing.T) string {
	t.Helper()
	needed := os.Getenv("TACHBENCH_BROWSER") == "need"
	if testing.Short() && !needed {
		t.Skip("a browser takes a while; left out by -short")
	}
	for _, name := range []string{"chromium", "chromium-browser", "google-chrome"} {
		if path, err := exec.LookPath(name); err == nil {
			return path
		}
	}
	if needed {
		t.Fatal("no Chromium in the path, and TACHBENCH_BROWSER=need")
	}
	t.Skip("no Chromium in the path (chromium, chromium-browser, google-chrome): the page is not tried in a browser")
	return ""
}

// browserTab is a tab of a browser with the page in it.
type browserTab struct {
	t   *testing.T
	ctx context.Context

	mu       sync.Mutex
	troubles []string // what the console complained about
	requests []string
}

// newBrowser starts a browser that ends with the test.
func newBrowser(t *testing.T, path string) context.Context {
	t.Helper()
	dir, err := os.MkdirTemp("", "tachbench-browser")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		for range 50 { // its processes may still write for a moment
			if os.RemoveAll(dir) == nil {
				return
			}
			time.Sleep(100 * time.Millisecond)
		}
	})
	opts := append(chromedp.DefaultExecAllocatorOptions[:],
		chromedp.ExecPath(path), chromedp.NoSandbox, chromedp.DisableGPU, chromedp.UserDataDir(dir),
		chromedp.Flag("disable-quic", true),
		chromedp.Flag("disable-component-update", true),
	)
	ctx, cancel := chromedp.NewExecAllocator(context.Background(), opts...)
	t.Cleanup(cancel)
	return ctx
}

// newTab opens a tab and watches its console and what it asks for.
func newTab(t *testing.T, parent context.Context) *browserTab {
	t.Helper()
	ctx, cancel := chromedp.NewContext(parent)
	t.Cleanup(cancel)
	b := &browserTab{t: t, ctx: ctx}
	b.do(chromedp.EmulateViewport(1280, 900))
	if _, err := chromedp.Call(ctx, log.Enable, cdp.Empty{}); err != nil {
		t.Fatal(err)
	}
	if _, err := chromedp.Call(ctx, network.Enable, network.EnableParams{}); err != nil {
		t.Fatal(err)
	}
	entries := chromedp.Events(ctx, log.EntryAdded)
	calls := chromedp.Events(ctx, runtime.ConsoleAPICalled)
	thrown := chromedp.Events(ctx, runtime.ExceptionThrown)
	asked := chromedp.Events(ctx, network.RequestWillBeSent)
	go watch(entries, func(e log.EventEntryAdded) {
		if e.Entry.Level == log.EntryLevelError || e.Entry.Level == log.EntryLevelWarning {
			b.note(&b.troubles, e.Entry.Text+" "+e.Entry.URL)
		}
	})
	go watch(calls, func(e runtime.EventConsoleAPICalled) {
		for _, a := range e.Args {
			b.note(&b.troubles, fmt.Sprintf("console.%s: %s%s", e.Type, a.Value, a.Description))
		}
	})
	go watch(thrown, func(e runtime.EventExceptionThrown) {
		b.note(&b.troubles, (&chromedp.ExceptionError{ExceptionDetails: e.ExceptionDetails}).Error())
	})
	go watch(asked, func(e network.EventRequestWillBeSent) { b.note(&b.requests, e.Request.URL) })
	return b
}

func watch[E any](events func(func(E, error) bool), f func(E)) {
	for e, err := range events {
		if err != nil {
			return
		}
		f(e)
	}
}

func (b *browserTab) note(list *[]string, text string) {
	b.mu.Lock()
	defer b.mu.Unlock()
	*list = append(*list, text)
}

func (b *browserTab) take(list *[]string) []string {
	b.mu.Lock()
	defer b.mu.Unlock()
	return append([]string(nil), *list...)
}

func (b *browserTab) do(steps ...chromedp.Action[chromedp.Void]) {
	b.t.Helper()
	if err := chromedp.Do(b.ctx, steps...); err != nil {
		b.t.Fatal(err)
	}
}

func (b *browserTab) click(selector string) {
	b.t.Helper()
	b.do(chromedp.Click(chromedp.CSS(selector)))
}

// ask evaluates an expression; promises are waited for.
func ask[T any](b *browserTab, expression string) T {
	b.t.Helper()
	v, err := chromedp.Run(b.ctx, chromedp.Evaluate[T](expression, chromedp.EvalAwaitPromise))
	if err != nil {
		b.t.Fatalf("%s: %v", expression, err)
	}
	return v
}

// until waits for an expression to be true.
func (b *browserTab) until(what, expression string) {
	b.t.Helper()
	b.within(15*time.Second, what, expression)
}

func (b *browserTab) within(d time.Duration, what, expression string) {
	b.t.Helper()
	for end := time.Now().Add(d); ; time.Sleep(20 * time.Millisecond) {
		if ask[bool](b, "Boolean("+expression+")") {
			return
		}
		if time.Now().After(end) {
			b.t.Fatalf("not within %v: %s; the page says %q, state %s", d, what,
				ask[string](b, `document.getElementById('standing').textContent`), ask[string](b, `JSON.stringify(bench.state)`))
		}
	}
}

// key presses or releases a key.
func (b *browserTab) key(typ input.DispatchKeyEventType, code string) {
	b.t.Helper()
	p := input.DispatchKeyEventParams{Type: typ, Code: code, Key: code}
	switch code {
	case "Space":
		p.Key, p.WindowsVirtualKeyCode = " ", 32
	case "KeyP":
		p.Key, p.WindowsVirtualKeyCode = "p", 80
	case "Tab":
		p.WindowsVirtualKeyCode = 9
	case "Escape":
		p.WindowsVirtualKeyCode = 27
	}
	if _, err := chromedp.Call(b.ctx, input.DispatchKeyEvent, p); err != nil {
		b.t.Fatal(err)
	}
}

const (
	down = input.DispatchKeyEventTypeRawKeyDown
	up   = input.DispatchKeyEventTypeKeyUp
)

// shownRPM is the number that a person reads.
func (b *browserTab) shownRPM() float64 {
	b.t.Helper()
	text := strings.ReplaceAll(ask[string](b, `document.getElementById('rpm').textContent`), "\u2009", "")
	v, err := strconv.ParseFloat(text, 64)
	if err != nil {
		b.t.Fatalf("the page shows %q rpm", text)
	}
	return v
}

// set moves a slider as a hand does.
func (b *browserTab) set(id string, v float64) {
	b.t.Helper()
	ask[bool](b, fmt.Sprintf(`(() => { const e = document.getElementById(%q); e.value = %g; e.dispatchEvent(new Event('input', {bubbles: true})); return true; })()`, id, v))
}

func TestPageInABrowser(t *testing.T) {
	browser := newBrowser(t, chromium(t))
	s := serveBench(t)
	b := newTab(t, browser)
	b.do(chromedp.Navigate(s.Address()))
	b.until("the page hears of the machine", `bench.state && bench.state.has_plan`)

	t.Run("waits for a click", func(t *testing.T) {
		b := b.of(t)
		// A context made without a click is what the browser's rule is about.
		if got := ask[string](b, `(window.unasked = new AudioContext()).state`); got != "suspended" {
			t.Errorf("before any click a context is %s, want suspended", got)
		}
		if !ask[bool](b, `bench.context === null`) {
			t.Error("the page made its sound before it was asked")
		}
		if got := ask[string](b, `document.getElementById('standing').textContent`); !strings.HasPrefix(got, "Waiting") {
			t.Errorf("the page says %q, want Waiting", got)
		}
		b.click("#start")
		b.until("the sound runs", `bench.context && bench.context.state === 'running' && bench.line && bench.line.leadFrames > 0`)
		if got := ask[float64](b, `bench.context.sampleRate`); got != browserRateHz {
			t.Errorf("the sound runs at %g Hz, want %d", got, browserRateHz)
		}
		ask[bool](b, `window.unasked.close().then(() => true)`)
	})
	if t.Failed() {
		return
	}
	ask[bool](b, `(() => {
		window.ear = new AnalyserNode(bench.context, {fftSize: 32768, smoothingTimeConstant: 0});
		window.near = new AnalyserNode(bench.context, {fftSize: 128});
		bench.output.connect(ear);
		bench.output.connect(near);
		window.loud = () => { const d = new Float32Array(128); near.getFloatTimeDomainData(d); return Math.max(...d.map(Math.abs)); };
		return true;
	})()`)

	t.Run("lever moves the revs", func(t *testing.T) { leverMoves(b.of(t)) })
	t.Run("firing frequency", func(t *testing.T) { firing(b.of(t)) })
	t.Run("planned and plain", func(t *testing.T) { compare(b.of(t)) })
	t.Run("a cell of the map", func(t *testing.T) {
		b := b.of(t)
		b.click("#map tbody td:nth-of-type(2) button")
		b.until("the meeting plays", `bench.state.playing`)
		s.mu.Lock()
		defer s.mu.Unlock()
		if len(s.met) != 1 || s.met[0] != [2]int{0, 1} {
			t.Errorf("asked for the cells %v, want [[0 1]]", s.met)
		}
		if got := ask[string](b, `document.querySelector('#map tbody td:nth-of-type(2) button').getAttribute('aria-label')`); !strings.HasPrefix(got, "0.33 guessable: callout at 4000 rpm, without") {
			t.Errorf("the cell is called %q", got)
		}
	})
	t.Run("escape silences", func(t *testing.T) { silences(b.of(t)) })
	t.Run("keyboard", func(t *testing.T) { reachable(b.of(t)) })
	t.Run("accessible", func(t *testing.T) { accessible(b.of(t)) })
	t.Run("fits", func(t *testing.T) { fits(b.of(t)) })
	t.Run("second tab", func(t *testing.T) { secondTab(b.of(t), s) })

	t.Logf("lever to sound %.0f ms, %d underruns", ask[float64](b, `bench.line.latencyMs`), ask[int](b, `bench.line.underruns`))
	if got := b.take(&b.troubles); len(got) > 0 {
		t.Errorf("the console complains: %q", got)
	}
	requests := b.take(&b.requests)
	if len(requests) < 5 {
		t.Errorf("saw only the requests %q: the watch does not work", requests)
	}
	for _, r := range requests {
		if u, err := url.Parse(r); err != nil || u.Hostname() != "127.0.0.1" {
			t.Errorf("a request left this computer: %s", r)
		}
	}

	s.stop()
	b.within(5*time.Second, "the lost line is told of", `document.getElementById('notice-text').textContent.includes('is lost')`)
}

// of is the same tab, for a part of the test.
func (b *browserTab) of(t *testing.T) *browserTab {
	return &browserTab{t: t, ctx: b.ctx}
}

func leverMoves(b *browserTab) {
	b.key(down, "Space")
	b.until("the lever works the engine", `bench.state.drive === 'lever' && bench.state.lever === 1`)
	b.until("the revs rise", `bench.state.rpm > 5000`)
	if got := ask[string](b, `document.getElementById('band').textContent`); !strings.HasPrefix(got, "over") {
		b.t.Errorf("the lamp is called %q above 5000 rpm, want over", got)
	}
	b.key(up, "Space")
	b.until("the revs fall", `bench.state.rpm < 2300 && bench.state.lever === 0`)
	// A computer with other things to do may be late now and then; the bench is
	// judged by its best of a few presses.
	best := math.Inf(1)
	for range 5 {
		for _, way := range []input.DispatchKeyEventType{down, up} {
			ask[bool](b, `(window.before = bench.line.latencyMs, true)`)
			b.key(way, "Space")
			b.until("the way from lever to sound is measured", `bench.line.latencyMs !== null && bench.line.latencyMs !== before`)
			ms := ask[float64](b, `bench.line.latencyMs`)
			b.t.Logf("lever to sound: %.0f ms, of that %.0f ms the browser's device", ms, ask[float64](b, `bench.context.outputLatency * 1000`))
			if !(ms > 0) {
				b.t.Errorf("lever to sound took %.0f ms", ms)
			}
			best = math.Min(best, ms)
		}
		if best < 120 {
			break
		}
	}
	if best >= 120 {
		b.t.Errorf("lever to sound took %.0f ms at best, want less than 120", best)
	}
	// The pad does the same, and lets go when the window does.
	x := ask[[]float64](b, `(() => { const e = document.getElementById('lever'); e.scrollIntoView({block: 'center'}); const r = e.getBoundingClientRect(); return [r.x + r.width / 2, r.y + r.height / 2]; })()`)
	b.do(chromedp.MouseEvent(input.DispatchMouseEventTypeMousePressed, x[0], x[1], chromedp.Button("left"), chromedp.ClickCount(1)))
	b.until("the pad presses the lever", `bench.state.lever === 1`)
	ask[bool](b, `dispatchEvent(new Event('blur'))`)
	b.until("a window that loses the focus lets go", `bench.state.lever === 0`)
	b.do(chromedp.MouseEvent(input.DispatchMouseEventTypeMouseReleased, x[0], x[1], chromedp.Button("left"), chromedp.ClickCount(1)))
}

// firing holds what comes out of the page's graph against the revs it shows:
// two even firings a revolution are rpm/30 hertz.
func firing(b *browserTab) {
	for _, rpm := range []float64{3000, 4800} {
		b.set("slide-rpm", rpm)
		b.until("the slider works the engine", fmt.Sprintf(`bench.state.drive === 'slider' && Math.abs(bench.state.rpm - %g) < 5`, rpm))
		time.Sleep(1200 * time.Millisecond) // the analyser sees 0.68 s
		shown := b.shownRPM()
		want := shown / 30
		peak := ask[[]float64](b, fmt.Sprintf(`(() => {
			const d = new Float32Array(ear.frequencyBinCount);
			ear.getFloatFrequencyData(d);
			const hz = bench.context.sampleRate / ear.fftSize;
			let k = Math.ceil(%[1]g * 0.7 / hz);
			for (let i = k; i * hz < %[1]g * 1.3; i++) if (d[i] > d[k]) k = i;
			const off = (d[k - 1] - d[k + 1]) / (2 * (d[k - 1] - 2 * d[k] + d[k + 1]));
			return [(k + off) * hz, d[k]];
		})()`, want))
		b.t.Logf("%g rpm shown, strongest near it %.2f Hz at %.1f dB, expected %.2f", shown, peak[0], peak[1], want)
		if math.Abs(shown-rpm) > rpm/100 {
			b.t.Errorf("shows %g rpm, the slider stands at %g", shown, rpm)
		}
		if !(math.Abs(peak[0]/want-1) < 0.01) || peak[1] < -100 {
			b.t.Errorf("at %g rpm the sound has %.2f Hz (%.1f dB), want %.2f within 1 %%", shown, peak[0], peak[1], want)
		}
	}
}

// musicTaken is the ducking of music as the table shows it.
const musicTaken = `Number([...document.querySelectorAll('#table-duck tbody tr')].find((r) => r.cells[0].textContent === 'music').cells[1].textContent)`

func compare(b *browserTab) {
	ask[bool](b, `document.getElementById('table-duck').closest('details').open = true`)
	b.click("input[name=drive][value=scene]")
	b.click("#loop")
	b.click("#play")
	b.until("the scene plays", `bench.state.playing && bench.state.position_s > 0.6 && bench.state.position_s < 2`)
	if ask[bool](b, `bench.state.planned`) {
		b.t.Error("the plan is on before anyone asked")
	}
	time.Sleep(700 * time.Millisecond)
	if got := ask[float64](b, musicTaken); got != 0 {
		b.t.Errorf("without the plan music shows %g dB taken, want 0", got)
	}
	b.key(down, "KeyP")
	b.key(up, "KeyP")
	b.until("the switch stands on planned", `bench.state.planned && document.querySelector('input[name=planned][value=on]').checked`)
	b.until("music yields as the plan says", fmt.Sprintf(`Math.abs(%s - %d) < 0.2`, musicTaken, musicDepthDB))
	if got := ask[string](b, `document.getElementById('compare-say').textContent`); !strings.HasPrefix(got, "Both equally loud") {
		b.t.Errorf("beside the switch stands %q", got)
	}
	b.click("input[name=planned][value=off]")
	b.until("music is back", musicTaken+` === 0`)
}

func silences(b *browserTab) {
	b.set("slide-rpm", 4000)
	b.until("it sounds", `loud() > 1e-4`)
	ask[bool](b, `(() => {
		window.hushed = new Promise((done) => addEventListener('keydown', (e) => {
			const since = e.timeStamp;
			let quietAt = null;
			let after = 0;
			const look = () => {
				const now = performance.now();
				const v = loud();
				if (quietAt === null && v === 0) quietAt = now - since;
				else if (quietAt !== null) after = Math.max(after, v);
				if (now - since > 1000) done([quietAt === null ? 1e9 : quietAt, after]);
				else setTimeout(look, 1);
			};
			look();
		}, {once: true, capture: true}));
		return true;
	})()`)
	b.key(down, "Escape")
	b.key(up, "Escape")
	got := ask[[]float64](b, `window.hushed`)
	b.t.Logf("silent %.0f ms after Esc", got[0])
	if !(got[0] < 50) || got[1] != 0 {
		b.t.Errorf("silent %.0f ms after Esc, then up to %g again; want less than 50 ms and nothing", got[0], got[1])
	}
	b.until("the bench is silent too", `bench.state.silenced && !bench.state.playing`)
	if got := ask[string](b, `document.getElementById('standing').textContent`); !strings.HasPrefix(got, "Silenced") {
		b.t.Errorf("the page says %q", got)
	}
	b.key(down, "Space")
	b.until("the lever goes on", `!bench.state.silenced && loud() > 1e-4`)
	b.key(up, "Space")
}

// reachable walks the page by Tab: all that can be worked is met, and shows
// that it is.
func reachable(b *browserTab) {
	ask[bool](b, `(document.activeElement.blur(), scrollTo(0, 0), true)`)
	met := map[string]bool{}
	for range 80 {
		b.key(down, "Tab")
		b.key(up, "Tab")
		got := ask[[]string](b, `(() => {
			const e = document.activeElement;
			if (e === document.body) return ['', ''];
			const ring = e.closest('.either label') || e;
			return [e.name && e.type === 'radio' ? e.name : e.id || e.getAttribute('aria-label') || e.textContent, getComputedStyle(ring).outlineStyle];
		})()`)
		met[got[0]] = true
		if got[0] != "" && got[1] == "none" {
			b.t.Errorf("%q does not show that it has the focus", got[0])
		}
	}
	for _, want := range []string{"silence", "start", "volume", "lever", "drive", "slide-rpm", "slide-load", "scenes", "play", "stop", "loop",
		"planned", "hall", "cabinet", "fader-0", "Mute callout", "Solo music", "reset", "map-scroll", "0.48 understood: callout at 2000 rpm, without the plan"} {
		if !met[want] {
			b.t.Errorf("%q is not met by Tab", want)
		}
	}
}

func (b *browserTab) theme(name string) {
	b.t.Helper()
	features := []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: name}}
	if _, err := chromedp.Call(b.ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Features: features}); err != nil {
		b.t.Fatal(err)
	}
}

// accessible asks axe-core, if TACHBENCH_AXE names its file.
func accessible(b *browserTab) {
	path := os.Getenv("TACHBENCH_AXE")
	if path == "" {
		b.t.Skip("TACHBENCH_AXE names no axe.min.js")
	}
	script, err := os.ReadFile(path)
	if err != nil {
		b.t.Fatal(err)
	}
	ask[bool](b, string(script)+"\n;true")
	for _, theme := range []string{"light", "dark"} {
		b.theme(theme)
		for _, width := range []int64{360, 1280} {
			b.do(chromedp.EmulateViewport(width, 900), chromedp.Sleep(300*time.Millisecond))
			found := ask[[]string](b, `axe.run(document, {resultTypes: ['violations']}).then((r) =>
				[r.passes.length + ' rules passed', ...r.violations.flatMap((v) => v.nodes.map((n) => v.id + ' ' + n.target.join(' ') + ': ' + n.failureSummary))])`)
			b.t.Logf("%s, %d px: %s", theme, width, found[0])
			for _, v := range found[1:] {
				b.t.Errorf("%s, %d px: %s", theme, width, v)
			}
		}
	}
}

// fits looks for what sticks out at three widths, in both themes, and takes
// pictures if TACHBENCH_SHOTS names a folder.
func fits(b *browserTab) {
	dir := os.Getenv("TACHBENCH_SHOTS")
	for _, theme := range []string{"light", "dark"} {
		b.theme(theme)
		for _, width := range []int64{360, 768, 1600} {
			b.do(chromedp.EmulateViewport(width, 900), chromedp.Sleep(200*time.Millisecond))
			if got := ask[int64](b, `document.documentElement.scrollWidth`); got > width {
				b.t.Errorf("%s: %d px wide in a window of %d", theme, got, width)
			}
			small := ask[[]string](b, `[...document.querySelectorAll('button, select, input[type=range], .tick, .either label, summary')]
				.filter((e) => e.offsetParent && e.getBoundingClientRect().height < 43.5).map((e) => e.id || e.textContent)`)
			if len(small) > 0 {
				b.t.Errorf("%s, %d px: too small for a finger: %q", theme, width, small)
			}
			if dir == "" {
				continue
			}
			png, err := chromedp.Run(b.ctx, chromedp.FullScreenshot(100))
			if err != nil {
				b.t.Fatal(err)
			}
			if err := os.WriteFile(filepath.Join(dir, fmt.Sprintf("page-%s-%d.png", theme, width)), png, 0o644); err != nil {
				b.t.Fatal(err)
			}
		}
	}
	b.do(chromedp.EmulateViewport(1280, 900))
}

// secondTab takes the bench over and gives it back.
func secondTab(b *browserTab, s *served) {
	other := newTab(b.t, b.ctx)
	other.do(chromedp.Navigate(s.Address()))
	other.until("the second tab hears of the machine", `bench.state !== null`)
	other.click("#start")
	other.until("it is told of the first", `document.getElementById('notice-text').textContent.includes('Another tab is playing')`)
	other.click("#notice-act")
	other.until("it plays", `bench.line && bench.line.leadFrames > 0`)
	b.until("the first is told", `document.getElementById('notice-text').textContent.includes('took the bench over')`)
	ask[bool](b, `(document.getElementById('notice-act').click(), true)`)
	b.until("the first plays again", `document.getElementById('notice').hidden && document.getElementById('standing').dataset.kind !== 'trouble'`)
	other.until("the second is told", `document.getElementById('notice-text').textContent.includes('took the bench over')`)
	if got := other.take(&other.troubles); len(got) > 0 {
		b.t.Errorf("the second tab's console complains: %q", got)
	}
}
