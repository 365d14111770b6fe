package page_test

import (
	"context"
	"fmt"
	"os"
	"os/exec"
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
)

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

// hurry is by how much limits of time are stretched: not at all where the
// browser is asked for, which is when nothing else runs beside it.
func hurry() float64 {
	if os.Getenv("TACHBENCH_BROWSER") == "need" {
		return 1
	}
	return 4
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

// of is the same tab, for a part of the test.
func (b *browserTab) of(t *testing.T) *browserTab {
	return &browserTab{t: t, ctx: b.ctx}
}

func (b *browserTab) theme(name string) {
	b.t.Helper()
	features := []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: name}}
	if _, err := chromedp.Call(b.ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Features: features}); err != nil {
		b.t.Fatal(err)
	}
}
