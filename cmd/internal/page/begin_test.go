package page

import (
	"slices"
	"strings"
	"testing"
	"time"
)

// vacant waits until nobody plays.
func vacant(s *Server) {
	for gone := false; !gone; time.Sleep(time.Millisecond) {
		s.stage.mu.Lock()
		gone = s.stage.player == nil
		s.stage.mu.Unlock()
	}
}

// Who begins to play hears the start volume, whatever the last one left; the
// same page after a lost line goes on as it was.
func TestBeginsSoft(t *testing.T) {
	t.Parallel()
	d := &double{}
	s := serving(t, d)
	volume := func(b *tab, want float64) {
		t.Helper()
		b.block() // the start has been taken
		for range 3 {
			b.words("state")
		}
		if w := b.words("state"); w["volume_db"] != want {
			t.Errorf("the volume is %v dB, want %g", w["volume_db"], want)
		}
	}
	leave := func(b *tab) {
		b.ws.CloseNow()
		vacant(s)
	}
	first := open(t, s)
	first.send(`{"do":"start"}`)
	first.send(`{"do":"volume","db":0}`)
	volume(first, 0)
	first.send(`{"do":"start"}`)
	volume(first, 0) // it played already
	leave(first)
	again := open(t, s)
	again.send(`{"do":"start","again":true}`)
	volume(again, 0)
	leave(again)
	reload := open(t, s)
	from := d.Snapshot().Frame
	reload.send(`{"do":"start"}`)
	if k := reload.block(); k.left[0] != float32((from+2400)%1024)/1024 {
		t.Errorf("begins with frame %g/1024: the glide from the old volume is heard", k.left[0]*1024)
	}
	volume(reload, -30)
	reload.send(`{"do":"volume","db":-6}`)
	d.await(t, "volume -6")
	leave(reload)
	s.stage.mu.Lock()
	s.stage.left = time.Now().Add(-2 * longAway)
	s.stage.mu.Unlock()
	late := open(t, s)
	late.send(`{"do":"start","again":true}`)
	volume(late, -30) // too long ago to be the same
	late.send(`{"do":"volume","db":-3}`)
	d.await(t, "volume -3")
	other := open(t, s)
	other.send(`{"do":"start","take":true,"again":true}`)
	volume(other, -30)
}

// A tab that does not play has no say but silence.
func TestOnlyThePlayerWorksTheBench(t *testing.T) {
	t.Parallel()
	d := &double{}
	s := serving(t, d)
	b := open(t, s)
	for _, text := range []string{`{"do":"volume","db":0}`, `{"do":"play","scene":"one"}`, `{"do":"planned","on":true}`, `{"do":"lever","value":1,"seq":1}`} {
		b.send(text)
		if w := b.words("error"); !strings.Contains(w["text"].(string), "start the sound") {
			t.Errorf("%s: %v", text, w)
		}
	}
	b.send(`{"do":"lever","value":0,"seq":2}`)
	b.send(`{"do":"pause"}`)
	b.send(`{"do":"stop"}`)
	d.await(t, "drive scene")
	if got := strings.Join(d.said(), ", "); got != "stop, lever 0, drive scene" {
		t.Errorf("before anybody played the bench was told %s", got)
	}
}

func TestAnyTabSilences(t *testing.T) {
	t.Parallel()
	d := &double{}
	s := serving(t, d)
	first, second := open(t, s), open(t, s)
	first.send(`{"do":"start"}`)
	first.block()
	second.send(`{"do":"silence"}`)
	second.words("silenced")
	if !slices.Contains(d.said(), "silence") {
		t.Error("the bench was not silenced")
	}
	for range 3 {
		first.words("state")
	}
	if w := first.words("state"); w["silenced"] != true {
		t.Error("the playing tab does not hear of it")
	}
}

// A silence that nobody asked for is none that is shown.
func TestStartIsNotSilenced(t *testing.T) {
	t.Parallel()
	d := &double{}
	s := serving(t, d)
	s.stage.left = time.Now().Add(-2 * longAway)
	b := open(t, s)
	b.send(`{"do":"start"}`)
	d.await(t, "silence")
	b.block()
	for range 3 {
		if w := b.words("state"); w["silenced"] != false {
			t.Fatal("says that it was silenced, and nobody pressed it")
		}
	}
	b.send(`{"do":"silence"}`)
	for range 40 {
		if b.words("state")["silenced"] == true {
			return
		}
	}
	t.Error("a silence by hand is not shown")
}
