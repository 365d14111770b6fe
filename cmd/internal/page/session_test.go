package page

import (
	"context"
	"errors"
	"math"
	"net"
	"net/http"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/coder/websocket"

	"tachbench/mixplan"
	"tachbench/mixplan/scene"
)

func TestSoundFollowsThePlayer(t *testing.T) {
	t.Parallel()
	s := serving(t, &double{})
	b := open(t, s)
	b.send(`{"do":"start"}`)
	var frames int64
	played := int64(0)
	for i := range 200 {
		k := b.block()
		if k.number != uint32(i) || k.first != (i == 0) || len(k.left) != 480 {
			t.Fatalf("block %d: %+v with %d frames", i, k.header, len(k.left))
		}
		for _, v := range k.left {
			if want := float32(frames%1024) / 1024; v != want {
				t.Fatalf("frame %d is %g, want %g", frames, v, want)
			}
			frames++
		}
		if ahead := frames - played; ahead > int64(k.lead) || k.lead != 1920 {
			t.Fatalf("%d frames under way with a lead of %d", ahead, k.lead)
		}
		if i >= 3 {
			played += 480
			b.played(played, 0)
		}
	}
	b.played(played, 2)
	for range 5 {
		if b.block().lead == 1920+2*480 {
			return
		}
	}
	t.Fatal("two underruns did not lengthen the lead by 20 ms")
}

func TestControlsReachTheBench(t *testing.T) {
	t.Parallel()
	d := &double{}
	s := serving(t, d)
	b := open(t, s)
	b.send(`{"do":"start"}`)
	for _, text := range []string{
		`{"do":"volume","db":-20}`, `{"do":"drive","by":"lever"}`, `{"do":"lever","value":1,"seq":41}`, `{"do":"slide","rpm":3000,"load":0.5,"seq":42}`,
		`{"do":"loop","on":true}`, `{"do":"planned","on":true}`, `{"do":"fader","category":"callout","level_db":-6}`, `{"do":"mute","category":"callout","on":true}`,
		`{"do":"solo","category":"callout","on":false}`, `{"do":"hall","on":true}`, `{"do":"cabinet","on":true}`, `{"do":"reset"}`, `{"do":"stop"}`, `{"do":"silence"}`,
	} {
		b.send(text)
	}
	d.await(t, "silence")
	want := "volume -20, drive lever, lever 1, slide 3000 0.5, loop true, planned true, fader callout -6, mute callout true, solo callout false, hall true, cabinet true, reset, stop, lever 0, drive scene, silence"
	if got := strings.Join(d.said(), ", "); got != want {
		t.Errorf("the bench was told %s, want %s", got, want)
	}
	b.played(1920, 0)
	for k := b.block(); k.seq != 42; k = b.block() {
		if k.number > 8 {
			t.Fatalf("block %d says that control %d acts, want 42", k.number, k.seq)
		}
	}
	b.send(`{"do":"fader","category":"crowd","level_db":-6}`)
	if w := b.words("error"); !strings.Contains(w["text"].(string), "no such category") {
		t.Errorf("an unknown category: %v", w)
	}
	b.send(`{"do":"play","scene":"nowhere"}`)
	if w := b.words("error"); !strings.Contains(w["text"].(string), "no such scene") {
		t.Errorf("an unknown scene: %v", w)
	}
	b.send(`{"do":"meet","callout":0,"step":0}`)
	if w := b.words("error"); !strings.Contains(w["text"].(string), "not ready") {
		t.Errorf("a meeting before the plan: %v", w)
	}
	b.send(`{"do":"play","scene":"one","loop":true}`)
	d.await(t, "play one true")
}

// The exact keys of a state: what the browser's side relies on.
func TestState(t *testing.T) {
	t.Parallel()
	s := serving(t, &double{fault: errors.New("something gave way")})
	b := open(t, s)
	if w := b.words("plan"); w["ready"] != false || w["error"] != "" {
		t.Errorf("plan %v", w)
	}
	if w := b.words("error"); w["text"] != "something gave way" {
		t.Errorf("error %v", w)
	}
	w := b.words("state")
	want := strings.Fields(`kind frame preparing scene position_s length_s looping playing silenced has_plan planned hall cabinet match_db
		drive rpm load lever limiting volume_db ceiling_dbtp momentary_lufs short_term_lufs true_peak_dbtp true_peak_hold_dbtp clips
		output_peak_dbtp limited_db buses callout_db rest_db hall_db callout sii sii_done`)
	var got []string
	for k := range w {
		got = append(got, k)
	}
	slices.Sort(got)
	slices.Sort(want)
	if !slices.Equal(got, want) {
		t.Errorf("keys %v, want %v", got, want)
	}
	if l := w["callout_db"].([]any); len(l) != 31 || l[0] != nil {
		t.Errorf("silence is %v, want 31 times null", l)
	}
	from := time.Now()
	for range 10 {
		b.words("state")
	}
	if took := time.Since(from); took < 300*time.Millisecond || took > 2*time.Second {
		t.Errorf("ten states in %v, want about half a second", took)
	}
}

func TestBadMessagesCloseTheSocket(t *testing.T) {
	t.Parallel()
	s := serving(t, &double{})
	for _, c := range []struct {
		kind   websocket.MessageType
		text   string
		code   websocket.StatusCode
		reason string
	}{
		{websocket.MessageText, `{"do":"explode"}`, 1008, "unknown"},
		{websocket.MessageText, `not json`, 1008, "not a message"},
		{websocket.MessageText, `{"do":"lever"}`, 1008, "lever: value, seq is missing"},
		{websocket.MessageBinary, `{"do":"start"}`, 1008, "must be text"},
		{websocket.MessageText, `{"do":"start"` + strings.Repeat(" ", 5000) + `}`, 1009, ""},
	} {
		b := open(t, s)
		if err := b.ws.Write(b.ctx, c.kind, []byte(c.text)); err != nil {
			t.Fatal(err)
		}
		if how := b.ending(); how.Code != c.code || !strings.Contains(how.Reason, c.reason) {
			t.Errorf("%.30s: closed with %d %q, want %d %q", c.text, how.Code, how.Reason, c.code, c.reason)
		}
	}
}

func TestOneTabPlays(t *testing.T) {
	t.Parallel()
	d := &double{}
	s := serving(t, d)
	first, second := open(t, s), open(t, s)
	first.send(`{"do":"start"}`)
	first.block()
	second.send(`{"do":"start"}`)
	second.words("busy")
	second.send(`{"do":"volume","db":0}`) // has no say
	second.words("busy")
	second.send(`{"do":"start","take":true}`)
	first.words("taken")
	if how := first.ending(); how.Code != websocket.StatusNormalClosure {
		t.Errorf("the first tab is closed with %d, want 1000", how.Code)
	}
	if k := second.block(); !k.first || k.number != 0 {
		t.Errorf("the second tab begins with %+v", k.header)
	}
	second.send(`{"do":"volume","db":-10}`)
	d.await(t, "volume -10")
	if slices.Contains(d.said(), "volume 0") {
		t.Error("a tab that does not play worked the bench")
	}
	// Who has it may start again; once it is gone, anybody may.
	second.send(`{"do":"start"}`)
	for k := second.block(); !k.first; k = second.block() {
	}
	second.ws.CloseNow()
	d.await(t, "lever 0")
	third := open(t, s)
	third.send(`{"do":"start"}`)
	third.block()
	// After a long time away it begins from silence.
	if slices.Contains(d.said(), "silence") {
		t.Error("silenced although nobody was away for long")
	}
	third.ws.CloseNow()
	vacant(s)
	s.stage.mu.Lock()
	s.stage.left = time.Now().Add(-2 * longAway)
	s.stage.mu.Unlock()
	fourth := open(t, s)
	fourth.send(`{"do":"start"}`)
	fourth.block()
	d.await(t, "silence")
}

// A browser that falls silent: the lever is released, sending waits, and goes
// on with a mark.
func TestDeafBrowser(t *testing.T) {
	t.Parallel()
	d := &double{}
	s := serving(t, d)
	b := open(t, s)
	b.send(`{"do":"start"}`)
	b.send(`{"do":"lever","value":1,"seq":1}`)
	for range 4 {
		b.block()
	}
	from := time.Now()
	d.await(t, "lever 0")
	if took := time.Since(from); took < 800*time.Millisecond || took > 1500*time.Millisecond {
		t.Errorf("the lever was released after %v, want a second", took)
	}
	b.played(1920, 0)
	if k := b.block(); !k.first || k.number != 4 {
		t.Errorf("after the gap comes %+v, want block 4 marked as first", k.header)
	}
	if k := b.block(); k.first {
		t.Error("the second block after a gap is marked as well")
	}
}

// A browser that reports but does not read is dropped, and nobody else.
func TestSlowReader(t *testing.T) {
	t.Parallel()
	d := &double{}
	s := serving(t, d)
	dialer := &net.Dialer{}
	ctx, cancel := context.WithTimeout(context.Background(), 20*time.Second)
	defer cancel()
	var raw net.Conn
	client := &http.Client{Transport: &http.Transport{DialContext: func(ctx context.Context, network, addr string) (net.Conn, error) {
		c, err := dialer.DialContext(ctx, network, addr)
		if err == nil {
			raw = c
			err = c.(*net.TCPConn).SetReadBuffer(4096)
		}
		return c, err
	}}}
	ws, _, err := websocket.Dial(ctx, "ws://"+s.host()+"/sound", &websocket.DialOptions{HTTPHeader: s.headers(), HTTPClient: client})
	if err != nil {
		t.Fatal(err)
	}
	defer ws.CloseNow()
	slow := &tab{t: t, ws: ws, ctx: ctx}
	slow.send(`{"do":"start"}`)
	from := time.Now()
	for time.Since(from) < 15*time.Second {
		if ws.Write(ctx, websocket.MessageText, []byte(`{"do":"played","frames":999999999,"underruns":0}`)) != nil {
			break // reset by the server
		}
		time.Sleep(2 * time.Millisecond)
	}
	if took := time.Since(from); took < time.Second || took > 10*time.Second {
		t.Errorf("dropped after %v, want some seconds", took)
	}
	_ = raw.Close()
	d.await(t, "lever 0")
	other := open(t, s)
	other.send(`{"do":"start"}`)
	other.block()
}

// A hundred connections and thirty sockets: bounded, and the sound goes on.
func TestCrowd(t *testing.T) {
	t.Parallel()
	s := serving(t, &double{})
	b := open(t, s)
	b.send(`{"do":"start"}`)
	stop := make(chan struct{})
	blocks := make(chan int, 1)
	go func() {
		n := 0
		for {
			select {
			case <-stop:
				blocks <- n
				return
			default:
			}
			k, _, err := b.next(b.ctx)
			if err != nil {
				blocks <- -1
				return
			}
			if k != nil {
				n++
				if b.ws.Write(b.ctx, websocket.MessageText, []byte(`{"do":"played","frames":9007199254740992,"underruns":0}`)) != nil {
					blocks <- -1
					return
				}
			}
		}
	}()
	open8, refused := 1, 0
	for range 30 {
		ctx, cancel := context.WithTimeout(context.Background(), 5*time.Second)
		ws, r, err := websocket.Dial(ctx, "ws://"+s.host()+"/sound", &websocket.DialOptions{HTTPHeader: s.headers()})
		cancel()
		switch {
		case err == nil:
			open8++
			defer ws.CloseNow()
		case r != nil && r.StatusCode == http.StatusServiceUnavailable:
			refused++
		default:
			t.Fatal(err)
		}
	}
	if open8 != maxSockets || refused != 31-maxSockets {
		t.Errorf("%d sockets open, %d refused; want %d and %d", open8, refused, maxSockets, 31-maxSockets)
	}
	turned := 0
	for range 100 {
		c, err := net.Dial("tcp", s.host())
		if err != nil {
			t.Fatal(err)
		}
		defer c.Close()
		_ = c.SetReadDeadline(time.Now().Add(20 * time.Millisecond))
		head := make([]byte, 12)
		if n, _ := c.Read(head); string(head[:n]) == "HTTP/1.1 503" {
			turned++
		}
	}
	if turned < 100-maxConnections {
		t.Errorf("%d of 100 connections were turned away, want at least %d", turned, 100-maxConnections)
	}
	close(stop)
	if n := <-blocks; n < 50 {
		t.Errorf("%d blocks came in the meantime: the sound did not go on", n)
	}
}

func TestPlan(t *testing.T) {
	t.Parallel()
	d := &double{}
	s := serving(t, d)
	b := open(t, s)
	b.words("plan")
	s.PlanProgress("reading", 3, 9)
	if w := b.words("plan"); w["doing"] != "reading" || w["done"] != 3.0 || w["all"] != 9.0 || w["ready"] != false {
		t.Errorf("progress %v", w)
	}
	s.PlanFailed(errors.New("there is\nnothing to plan"))
	if w := b.words("plan"); !strings.HasPrefix(w["error"].(string), "there is") || strings.Contains(w["error"].(string), "\n") {
		t.Errorf("failure %v", w)
	}
	p := Plan{
		Plan: &mixplan.Plan{},
		Map:  Map{RPM: []float64{1600, 2000.4}, Callouts: []MapCallout{{Path: "go.wav", SIIPlain: 0.3, SIIPlanned: 0.5, LimitedBy: "none", Sentence: "Is understood.", Plain: []float64{0.3, math.NaN()}, Planned: []float64{0.5, 0.51}}}},
		Meeting: func(callout, step int) (*scene.Timeline, error) {
			return &scene.Timeline{Name: "cell", RateHz: 48000}, nil
		},
	}
	if err := s.PlanReady(context.Background(), p); err != nil {
		t.Fatal(err)
	}
	if got := strings.Join(d.said(), ", "); got != "plan, planned true" {
		t.Errorf("with its plan the bench was told %s, want that it is heard", got)
	}
	if w := b.words("plan"); w["ready"] != true || w["error"] != "" {
		t.Errorf("ready %v", w)
	}
	status, _, body := ask(t, s, "GET", "/map.json", nil)
	want := `{"rpm":[1600,2000],"callouts":[{"path":"go.wav","sii_plain":0.3,"sii_planned":0.5,"limited_by":"none","sentence":"Is understood.","plain":[0.3,null],"planned":[0.5,0.51]}]}`
	if status != 200 || body != want {
		t.Errorf("map %d %s, want %s", status, body, want)
	}
	b.send(`{"do":"start"}`)
	b.send(`{"do":"meet","callout":0,"step":1}`)
	d.await(t, "play cell false")
	for _, text := range []string{`{"do":"meet","callout":1,"step":0}`, `{"do":"meet","callout":-1,"step":0}`, `{"do":"meet","callout":0,"step":2}`} {
		b.send(text)
		if w := b.words("error"); !strings.Contains(w["text"].(string), "no such meeting") {
			t.Errorf("%s: %v", text, w)
		}
	}
	// Who has chosen keeps the choice when a plan comes.
	b.send(`{"do":"planned","on":false}`)
	d.await(t, "planned false")
	if err := s.PlanReady(context.Background(), p); err != nil {
		t.Fatal(err)
	}
	if got := d.said(); got[len(got)-1] != "plan" {
		t.Errorf("a second plan overrode the choice: %s", strings.Join(got, ", "))
	}
}

// The latest wish counts; what was given up does not sound.
func TestWorkerGivesUp(t *testing.T) {
	t.Parallel()
	d := &double{prep: 100 * time.Millisecond}
	s := serving(t, d)
	b := open(t, s)
	b.send(`{"do":"start"}`)
	b.send(`{"do":"play","scene":"one","loop":true}`)
	for w := b.words("state"); w["preparing"] != "one"; w = b.words("state") {
	}
	b.send(`{"do":"play","scene":"one","loop":false}`)
	d.await(t, "play one false")
	b.send(`{"do":"play","scene":"one","loop":true}`)
	b.send(`{"do":"silence"}`)
	d.await(t, "silence")
	time.Sleep(150 * time.Millisecond)
	if got := strings.Join(d.said(), ", "); got != "play one false, silence" {
		t.Errorf("the bench was told %s", got)
	}
}

// Play that cannot be held back any more is ended.
func TestWorkerStopsWhatStartedLate(t *testing.T) {
	stopped := make(chan struct{})
	w := newWorker(func() { close(stopped) })
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	go w.run(ctx)
	begun, goOn := make(chan struct{}), make(chan struct{})
	w.put(job{name: "late", fail: func(err error) { t.Error(err) }, play: func(context.Context) error {
		close(begun)
		<-goOn
		return nil
	}})
	<-begun
	w.drop()
	close(goOn)
	select {
	case <-stopped:
	case <-time.After(5 * time.Second):
		t.Fatal("a scene that had been given up went on")
	}
}

// When the page ends, open tabs are told; those that do not listen cannot hold
// it up, nor can work that does not stop.
func TestStop(t *testing.T) {
	t.Parallel()
	s, stop := stoppable(t, &double{})
	listening, asleep := open(t, s), open(t, s)
	asleep.send(`{"do":"start"}`)
	begun := make(chan struct{})
	held := make(chan struct{})
	defer close(held)
	s.worker.put(job{name: "endless", fail: func(error) {}, play: func(context.Context) error {
		close(begun)
		<-held
		return nil
	}})
	<-begun
	told := make(chan websocket.CloseError, 1)
	go func() { told <- listening.ending() }()
	stop()
	if how := <-told; how.Code != websocket.StatusGoingAway || !strings.Contains(how.Reason, "stopped") {
		t.Errorf("a tab is told %d %q, want 1001 and that it was stopped", how.Code, how.Reason)
	}
	if _, err := net.Dial("tcp", s.host()); err == nil {
		t.Error("the port is still open")
	}
}
