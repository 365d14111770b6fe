package page_test

import (
	"fmt"
	"math"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/chromedp"

	"tachbench/mixplan/listen"
)

func TestPageInABrowser(t *testing.T) {
	browser := newBrowser(t, chromium(t))
	m := depot(t)
	s := serveBench(t, m, "127.0.0.1:0")
	b := newTab(t, browser)
	b.do(chromedp.Navigate(s.Address()))
	b.until("the page hears of the machine", `bench.state && bench.state.has_plan`)

	t.Run("waits for a click", func(t *testing.T) {
		b := b.of(t)
		// A context made without a click is what the browser's rule is about.
		if got := ask[string](b, `(window.unasked = new AudioContext()).state`); got != "suspended" {
			t.Errorf("before any click a context is %s, want suspended", got)
		}
		if got := ask[string](b, `document.getElementById('room-say').textContent`); strings.Contains(got, "..") || !strings.Contains(got, "70 dB(A). "+m.chain.Assumed[0]) {
			t.Errorf("what is assumed reads %q", got)
		}
		if !ask[bool](b, `bench.context === null`) {
			t.Error("the page made its sound before it was asked")
		}
		if got := ask[string](b, `document.getElementById('standing').textContent`); !strings.HasPrefix(got, "Waiting") {
			t.Errorf("the page says %q, want Waiting", got)
		}
		// What only looks like a hand starts nothing.
		ask[bool](b, `(document.getElementById('play').click(), true)`)
		b.until("it is told how to start", `document.getElementById('notice-text').textContent.includes('start the sound')`)
		if !ask[bool](b, `bench.context === null`) {
			t.Error("a script's click started the sound")
		}
		// Who presses Play wants to hear it: at the start volume, with a warning.
		b.click("#play")
		b.until("the sound runs", `bench.context && bench.context.state === 'running' && bench.line && bench.line.leadFrames > 0`)
		b.until("the scene plays", `bench.state.playing && bench.state.scene === 'meet' && !bench.state.silenced`)
		b.until("the person is warned", `document.getElementById('notice-text').textContent.includes('Start low')`)
		if got := ask[float64](b, `bench.state.volume_db`); got != listen.StartVolumeDB {
			t.Errorf("begins at %g dB, want %d", got, listen.StartVolumeDB)
		}
		b.click("#notice-act")
		b.until("the warning goes", `document.getElementById('notice').hidden`)
		b.click("#stop")
		b.until("it stops", `!bench.state.playing`)
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
	t.Run("stop stops the engine", func(t *testing.T) { stops(b.of(t)) })
	t.Run("firing frequency", func(t *testing.T) { firing(b.of(t)) })
	t.Run("planned and plain", func(t *testing.T) { compare(b.of(t)) })
	t.Run("a cell of the map", func(t *testing.T) {
		b := b.of(t)
		b.click("#map tbody td:nth-of-type(2) button")
		for end := time.Now().Add(5 * time.Second); len(s.cells()) == 0 && time.Now().Before(end); {
			time.Sleep(20 * time.Millisecond)
		}
		if met := s.cells(); len(met) != 1 || met[0] != [2]int{0, 1} {
			t.Errorf("asked for the cells %v, want [[0 1]]", met)
		}
		b.until("the meeting plays", `bench.state.playing && bench.state.preparing === ''`)
		if got := ask[string](b, `document.querySelector('#map tbody td:nth-of-type(2) button').getAttribute('aria-label')`); !strings.HasPrefix(got, "0.33 guessable: callout at 4000 rpm, without") {
			t.Errorf("the cell is called %q", got)
		}
	})
	t.Run("escape silences", func(t *testing.T) { silences(b.of(t)) })
	t.Run("keyboard", func(t *testing.T) { reachable(b.of(t)) })
	t.Run("accessible", func(t *testing.T) { accessible(b.of(t)) })
	t.Run("fits", func(t *testing.T) { fits(b.of(t)) })
	t.Run("interrupted", func(t *testing.T) { interrupted(b.of(t)) })
	t.Run("begins anew", func(t *testing.T) { anew(b.of(t)) })
	t.Run("no scenes", func(t *testing.T) { noScenes(b.of(t), m) })
	t.Run("second tab", func(t *testing.T) { secondTab(b.of(t), s) })

	t.Logf("lever to sound %.0f ms the last time, %d underruns in all", ask[float64](b, `bench.line.latencyMs`), ask[int](b, `bench.line.underruns`))
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
	if got := ask[string](b, `['rpm', 'position', 'band', 'n-momentary', 'n-out'].map((id) => document.getElementById(id).textContent).join('|')`); got != "\u2013|\u2013 (the line is lost)|the line is lost|\u2013|\u2013" {
		t.Errorf("without a line the page still shows %s", got)
	}
	address, err := url.Parse(s.Address())
	if err != nil {
		t.Fatal(err)
	}
	serveBench(t, m, address.Host)
	ask[bool](b, `(document.getElementById('notice-act').click(), true)`)
	b.until("a new run is told of", `document.getElementById('notice-text').textContent.includes('restarted')`)
}

// interrupted takes the sound away for longer than the server listens.
func interrupted(b *browserTab) {
	ask[bool](b, `bench.context.suspend().then(() => true)`)
	b.until("the page says so", `document.getElementById('standing').textContent.startsWith('Interrupted')`)
	time.Sleep(1500 * time.Millisecond)
	b.click("#start")
	b.until("it goes on", `bench.context.state === 'running' && document.getElementById('standing').dataset.kind === 'running'`)
	b.key(down, "Space")
	b.until("the lever is heard again", `bench.state.lever === 1 && loud() > 1e-4`)
	b.key(up, "Space")
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
	// A computer with other things to do may be late now and then: the bench is
	// judged by its best of a few presses, and the lead that it grew by itself
	// over its first 40 ms, because the computer did not keep up, is allowed.
	const firstLeadMS = 40
	wantMS := 120 * hurry()
	best, limit := math.Inf(1), 0.0
	for range 5 {
		for _, way := range []input.DispatchKeyEventType{down, up} {
			ask[bool](b, `(window.before = bench.line.latencyMs, true)`)
			b.key(way, "Space")
			b.until("the way from lever to sound is measured", `bench.line.latencyMs !== null && bench.line.latencyMs !== before`)
			ms := ask[[]float64](b, `[bench.line.latencyMs, bench.line.leadFrames / bench.context.sampleRate * 1000, bench.context.outputLatency * 1000]`)
			b.t.Logf("lever to sound: %.0f ms, of that %.0f ms lead and %.0f ms the browser's device", ms[0], ms[1], ms[2])
			if !(ms[0] > 0) {
				b.t.Errorf("lever to sound took %.0f ms", ms[0])
			}
			best, limit = math.Min(best, ms[0]), wantMS+max(0, ms[1]-firstLeadMS)
		}
		if best < limit {
			break
		}
	}
	if best >= limit {
		b.t.Errorf("lever to sound took %.0f ms at best, want less than %.0f", best, limit)
	}
	// The pad does the same, and lets go when the window does.
	x := ask[[]float64](b, `(() => { const e = document.getElementById('lever'); e.scrollIntoView({block: 'center'}); const r = e.getBoundingClientRect(); return [r.x + r.width / 2, r.y + r.height / 2]; })()`)
	b.do(chromedp.MouseEvent(input.DispatchMouseEventTypeMousePressed, x[0], x[1], chromedp.Button("left"), chromedp.ClickCount(1)))
	b.until("the pad presses the lever", `bench.state.lever === 1`)
	ask[bool](b, `dispatchEvent(new Event('blur'))`)
	b.until("a window that loses the focus lets go", `bench.state.lever === 0`)
	b.do(chromedp.MouseEvent(input.DispatchMouseEventTypeMouseReleased, x[0], x[1], chromedp.Button("left"), chromedp.ClickCount(1)))
}

// stops sees that Stop ends an engine that no scene works, and that an idling
// engine stays in its lowest band.
func stops(b *browserTab) {
	b.until("the engine idles", `bench.state.rpm < 2100`)
	seen := ask[[]string](b, `new Promise((done) => {
		const seen = new Set();
		const look = setInterval(() => seen.add(document.getElementById('band').textContent + ' ' + document.getElementById('lamp').classList.contains('lit')), 25);
		setTimeout(() => { clearInterval(look); done([...seen]); }, 1500);
	})`)
	if len(seen) != 1 || seen[0] != "low true" {
		b.t.Errorf("while it idles the lamp reads %q, want low, lit", seen)
	}
	// It hunts a little under its idle revs, where the lowest band begins.
	named := ask[[]string](b, `import('/assets/lever.js').then(({ Lever }) => {
		const of = { bands: () => [{name: 'high', from_rpm: 5000, to_rpm: 6000}, {name: 'low', from_rpm: 2000, to_rpm: 3500}] };
		return [1800, 2000, 3500, 5000, 6000, 6100].map((rpm) => Lever.prototype.bandAt.call(of, rpm)?.name || 'none');
	})`)
	if got := strings.Join(named, " "); got != "low low none high high high" {
		b.t.Errorf("1800, 2000, 3500, 5000, 6000 and 6100 rpm are in the bands %s", got)
	}
	if got := ask[string](b, `document.getElementById('position').textContent`); got != "The engine idles; Stop or Esc ends it." {
		b.t.Errorf("with an idling engine the page says %q", got)
	}
	b.click("#stop")
	b.until("the engine stops", `bench.state.drive === 'scene' && bench.state.rpm === null && loud() < 1e-5`)
	b.until("the page says so", `document.getElementById('position').textContent === 'Nothing plays' && document.querySelector('input[name=drive][value=scene]').checked`)
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
	if !ask[bool](b, `bench.state.planned && document.getElementById('compare-say').textContent.startsWith('Heard: with the plan. Both')`) {
		b.t.Error("the plan is not heard although there is one and nobody chose")
	}
	b.click("input[name=planned][value=off]")
	b.until("plain is heard", `!bench.state.planned`)
	time.Sleep(700 * time.Millisecond)
	if got := ask[float64](b, musicTaken); got != 0 {
		b.t.Errorf("without the plan music shows %g dB taken, want 0", got)
	}
	b.key(down, "KeyP")
	b.key(up, "KeyP")
	b.until("the switch stands on planned", `bench.state.planned && document.querySelector('input[name=planned][value=on]').checked`)
	b.until("music yields as the plan says", fmt.Sprintf(`Math.abs(%s - %d) < 0.2`, musicTaken, musicDepthDB))
	if got := ask[string](b, `document.getElementById('compare-say').textContent`); !strings.HasPrefix(got, "Heard: with the plan. Both equally loud") {
		b.t.Errorf("beside the switch stands %q", got)
	}
	b.click("input[name=planned][value=off]")
	b.until("music is back", musicTaken+` === 0`)
	ask[bool](b, `(() => { const e = document.getElementById('scenes'); e.value = 'music only'; e.dispatchEvent(new Event('change')); return true; })()`)
	b.until("the other scene plays at once", `bench.state.playing && bench.state.scene === 'music only'`)
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
	if want := 50 * hurry(); !(got[0] < want) || got[1] != 0 {
		b.t.Errorf("silent %.0f ms after Esc, then up to %g again; want less than %.0f ms and nothing", got[0], got[1], want)
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

// anew sees that who loads the page again begins at the start volume, whatever
// stood before.
func anew(b *browserTab) {
	b.set("volume", 0)
	b.until("it is as loud as it goes", `bench.state.volume_db === 0`)
	b.do(chromedp.Reload())
	b.until("the page is there again", `window.bench && bench.state`)
	if got := ask[string](b, `document.getElementById('volume-text').textContent`); !strings.Contains(got, "30") {
		b.t.Errorf("loaded anew, the volume reads %q", got)
	}
	ask[bool](b, `(document.activeElement.blur(), true)`)
	b.key(down, "Space")
	b.until("the lever starts the sound", `bench.context && bench.context.state === 'running' && bench.state.lever === 1 && bench.state.rpm > 5000`)
	b.key(up, "Space")
	if !ask[bool](b, `bench.state.volume_db === -30 && bench.state.output_peak_dbtp < -25 && document.getElementById('volume').value === '-30' && !bench.state.silenced`) {
		b.t.Errorf("begins with %s", ask[string](b, `JSON.stringify(bench.state)`))
	}
	ask[bool](b, `(() => {
		window.near = new AnalyserNode(bench.context, {fftSize: 128});
		bench.output.connect(near);
		window.loud = () => { const d = new Float32Array(128); near.getFloatTimeDomainData(d); return Math.max(...d.map(Math.abs)); };
		return true;
	})()`)
}

// noScenes looks at a sheet without scenes.
func noScenes(b *browserTab, m machine) {
	bare := *m.sheet
	bare.Scenes = nil
	s := serveBench(b.t, machine{&bare, m.chain, m.engine}, "127.0.0.1:0")
	other := newTab(b.t, b.ctx)
	other.do(chromedp.Navigate(s.Address()))
	other.until("the page hears of the machine", `bench.state !== null`)
	if !ask[bool](other, `document.getElementById('play').disabled && document.getElementById('scenes').selectedOptions[0].textContent === 'no scene in the sheet'`) {
		b.t.Error("without scenes Play can be pressed, or nothing says why not")
	}
	other.key(down, "Space")
	other.until("the lever works", `bench.state.lever === 1 && bench.state.rpm > 3000`)
	other.key(up, "Space")
	other.click("#stop")
	other.until("Stop ends the engine", `bench.state.rpm === null`)
}

// secondTab takes the bench over and gives it back.
func secondTab(b *browserTab, s *served) {
	other := newTab(b.t, b.ctx)
	other.do(chromedp.Navigate(s.Address()))
	other.until("the second tab hears of the machine", `bench.state !== null`)
	other.click("#start")
	other.until("it is told of the first", `document.getElementById('notice-text').textContent.includes('Another tab is playing')`)
	b.set("slide-rpm", 4000)
	b.until("the first sounds", `bench.state.rpm > 3900`)
	other.key(down, "Escape")
	other.key(up, "Escape")
	other.until("the second says whom it silenced", `document.getElementById('notice-text').textContent.startsWith('The other tab')`)
	b.until("the first is silent", `bench.state.silenced && bench.state.rpm === null && document.getElementById('standing').textContent.startsWith('Silenced')`)
	other.click("#notice-act")
	other.until("it plays", `bench.line && bench.line.leadFrames > 0`)
	b.until("the first is told", `document.getElementById('standing').textContent === 'Another tab plays' && document.getElementById('notice-text').textContent.includes('took the bench over')`)
	ask[bool](b, `(document.getElementById('notice-act').click(), true)`)
	b.until("the first plays again", `document.getElementById('notice').hidden && document.getElementById('standing').dataset.kind !== 'trouble'`)
	other.until("the second is told", `document.getElementById('notice-text').textContent.includes('took the bench over')`)
	if got := other.take(&other.troubles); len(got) > 0 {
		b.t.Errorf("the second tab's console complains: %q", got)
	}
}
