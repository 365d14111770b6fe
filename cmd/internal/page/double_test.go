package page

import (
	"context"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/coder/websocket"

	"tachbench/mixplan"
	"tachbench/mixplan/ear"
	"tachbench/mixplan/listen"
	"tachbench/mixplan/scene"
	"tachbench/samples/sheet"
	"tachbench/samples/tone"
	"tachbench/samples/wav"
)

// double is a bench that writes down what is done to it. Its sound counts
// frames: the left channel is the number of the frame modulo 1024, over 1024.
type double struct {
	mu    sync.Mutex
	frame int64
	calls []string
	prep  time.Duration // how long Play prepares
	up    float64       // the volume over -30 dB
	quiet bool          // silenced
	fault error
}

func (d *double) note(format string, args ...any) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.calls = append(d.calls, fmt.Sprintf(format, args...))
}

func (d *double) said() []string {
	d.mu.Lock()
	defer d.mu.Unlock()
	return slices.Clone(d.calls)
}

func (d *double) RateHz() int { return 48000 }
func (d *double) Err() error  { return d.fault }
func (d *double) Stream(samples [][2]float64) (int, bool) {
	d.mu.Lock()
	defer d.mu.Unlock()
	for i := range samples {
		samples[i] = [2]float64{float64(d.frame%1024) / 1024, 0}
		d.frame++
	}
	return len(samples), true
}
func (d *double) Drive(v listen.Drive)      { d.note("drive %v", v) }
func (d *double) Lever(v float64)           { d.note("lever %g", v) }
func (d *double) Slide(rpm, load float64)   { d.note("slide %g %g", rpm, load) }
func (d *double) Stop()                     { d.note("stop") }
func (d *double) Loop(on bool)              { d.note("loop %v", on) }
func (d *double) Planned(on bool)           { d.note("planned %v", on) }
func (d *double) Fader(c string, v float64) { d.note("fader %s %g", c, v) }
func (d *double) Mute(c string, on bool)    { d.note("mute %s %v", c, on) }
func (d *double) Solo(c string, on bool)    { d.note("solo %s %v", c, on) }
func (d *double) InHall(on bool)            { d.note("hall %v", on) }
func (d *double) ThroughCabinet(on bool)    { d.note("cabinet %v", on) }
func (d *double) ResetHolds()               { d.note("reset") }

func (d *double) Volume(v float64) {
	d.note("volume %g", v)
	d.mu.Lock()
	d.up = v + 30
	d.mu.Unlock()
}

func (d *double) Silence() {
	d.note("silence")
	d.mu.Lock()
	d.quiet = true
	d.mu.Unlock()
}

func (d *double) Play(ctx context.Context, t *scene.Timeline, loop bool) error {
	select {
	case <-time.After(d.prep):
	case <-ctx.Done():
		return ctx.Err()
	}
	d.note("play %s %v", t.Name, loop)
	return nil
}

func (d *double) SetPlan(context.Context, *mixplan.Plan) error {
	d.note("plan")
	return nil
}

func (d *double) Snapshot() listen.Snapshot {
	d.mu.Lock()
	defer d.mu.Unlock()
	return listen.Snapshot{Frame: d.frame, VolumeDB: d.up - 30, Silenced: d.quiet, CeilingDBTP: -12, CalloutDB: ear.Silence(), RestDB: ear.Silence(), HallDB: ear.Silence()}
}

// testSheet is a package of one callout and one scene.
func testSheet(t testing.TB) *sheet.Sheet {
	t.Helper()
	dir := t.TempDir()
	f, err := os.Create(filepath.Join(dir, "go.wav"))
	if err != nil {
		t.Fatal(err)
	}
	s := tone.Sine(48000, 0.2, 440, 0.2, 0)
	if err := errors.Join(wav.Encode(f, s, wav.SpecOf(s, 16)), f.Close()); err != nil {
		t.Fatal(err)
	}
	sh, err := sheet.Parse("soundsheet.toml", []byte(`title = "Test"
sample_rate = 48000
bit_depth = 16
[category.callout]
files = ["go.wav"]
[[rev_band]]
name = "low"
from_rpm = 1000
to_rpm = 2000
[[scene]]
name = "one"
length_s = 1
[[scene.cue]]
at_s = 0
sound = "go.wav"
`), dir)
	if err != nil {
		t.Fatal(err)
	}
	return sh
}

// serving starts a page on a double and ends it with the test.
func serving(t testing.TB, d *double) *Server {
	t.Helper()
	s, stop := stoppable(t, d)
	t.Cleanup(stop)
	return s
}

// stoppable starts a page on a double; stop ends it and sees how long that
// takes.
func stoppable(t testing.TB, d *double) (s *Server, stop func()) {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	sh := testSheet(t)
	chain, err := ear.New(nil)
	if err != nil {
		t.Fatal(err)
	}
	s, err = New(Options{Sheet: sh, Library: scene.NewLibrary(48000), Chain: chain, Bench: d}, l)
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- s.Serve(ctx) }()
	return s, func() {
		cancel()
		asked := time.Now()
		if err := <-ended; err != nil {
			t.Error(err)
		}
		if took := time.Since(asked); took > time.Second {
			t.Errorf("stopping took %v, want less than a second", took)
		}
	}
}

// host is host:port of a served page.
func (s *Server) host() string { return s.guard.hosts[0] }

func (s *Server) headers() http.Header {
	return http.Header{
		"Cookie": {s.guard.cookie + "=" + s.guard.token},
		"Origin": {"http://" + s.host()},
	}
}

// tab is a browser's end of a socket.
type tab struct {
	t   testing.TB
	ws  *websocket.Conn
	ctx context.Context
}

func open(t testing.TB, s *Server) *tab {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), 20*time.Second)
	t.Cleanup(cancel)
	ws, _, err := websocket.Dial(ctx, "ws://"+s.host()+"/sound", &websocket.DialOptions{HTTPHeader: s.headers()})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { ws.CloseNow() })
	return &tab{t: t, ws: ws, ctx: ctx}
}

func (b *tab) send(text string) {
	b.t.Helper()
	if err := b.ws.Write(b.ctx, websocket.MessageText, []byte(text)); err != nil {
		b.t.Fatal(err)
	}
}

func (b *tab) played(frames, underruns int64) {
	b.t.Helper()
	b.send(fmt.Sprintf(`{"do":"played","frames":%d,"underruns":%d}`, frames, underruns))
}

// block is a block as it came.
type block struct {
	header
	left []float32
}

// next returns the next message: a block, or words.
func (b *tab) next(ctx context.Context) (*block, map[string]any, error) {
	kind, p, err := b.ws.Read(ctx)
	if err != nil {
		return nil, nil, err
	}
	if kind == websocket.MessageText {
		var words map[string]any
		return nil, words, json.Unmarshal(p, &words)
	}
	le := binary.LittleEndian
	n := int(le.Uint16(p[2:]))
	if p[0] != 1 || len(p) != 16+8*n {
		return nil, nil, fmt.Errorf("a block of %d bytes says kind %d and %d frames", len(p), p[0], n)
	}
	out := &block{header: header{first: p[1]&1 == 1, number: le.Uint32(p[4:]), seq: le.Uint32(p[8:]), lead: le.Uint32(p[12:])}}
	for i := range n {
		var v float32
		if _, err := binary.Decode(p[16+8*i:], le, &v); err != nil {
			return nil, nil, err
		}
		out.left = append(out.left, v)
	}
	return out, nil, nil
}

// block waits for the next block.
func (b *tab) block() *block {
	b.t.Helper()
	for {
		k, _, err := b.next(b.ctx)
		if err != nil {
			b.t.Fatal(err)
		}
		if k != nil {
			return k
		}
	}
}

// words waits for words of a kind and throws away what comes before.
func (b *tab) words(kind string) map[string]any {
	b.t.Helper()
	for {
		_, w, err := b.next(b.ctx)
		if err != nil {
			b.t.Fatalf("waiting for %s: %v", kind, err)
		}
		if w["kind"] == kind {
			return w
		}
	}
}

// ending reads until the socket ends and returns how.
func (b *tab) ending() websocket.CloseError {
	b.t.Helper()
	for {
		if _, _, err := b.next(b.ctx); err != nil {
			var how websocket.CloseError
			if !errors.As(err, &how) {
				b.t.Fatalf("ended without a close: %v", err)
			}
			return how
		}
	}
}

// await waits until the bench has been told something.
func (d *double) await(t testing.TB, want string) {
	t.Helper()
	end := time.Now().Add(5 * time.Second)
	for time.Now().Before(end) {
		if slices.Contains(d.said(), want) {
			return
		}
		time.Sleep(2 * time.Millisecond)
	}
	t.Fatalf("the bench was never told %q: %s", want, strings.Join(d.said(), ", "))
}
