package page

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"time"

	"tachbench/cmd/internal/report"
	"tachbench/mixplan/listen"
	"tachbench/mixplan/scene"
	"tachbench/samples/sheet"
)

// longAway is how long nobody may have listened for the sound to go on where
// it was. After that it begins from silence: nobody expects it any more.
const longAway = 10 * time.Second

var drives = map[string]listen.Drive{byScene: listen.ByScene, byLever: listen.ByLever, bySlider: listen.BySlider}

// act does what a browser asks.
func (s *session) act(c control) {
	switch c.do {
	case "start":
		s.start(c.take, c.again)
		return
	case "played":
		s.played(c.frames, c.underrun)
		return
	case "silence":
		s.silence()
		return
	}
	mine, taken := s.server.stage.holds(s)
	switch lets := c.do == "pause" || c.do == "lever" && c.value == 0; {
	case mine, c.do == "stop" && !taken:
	case lets: // what this tab does not hold it need not let go of
		return
	case taken:
		s.say(busyJSON)
		return
	default:
		s.complain(errNobodyPlays)
		return
	}
	bench := s.server.bench
	switch c.do {
	case "pause":
		s.mu.Lock()
		s.pace.pause()
		s.mu.Unlock()
		bench.Lever(0)
	case "lever":
		bench.Lever(c.value)
		s.seq.Store(c.seq)
	case "slide":
		bench.Slide(c.rpm, c.load)
		s.seq.Store(c.seq)
	case "drive":
		bench.Drive(drives[c.drive])
	case "play":
		s.play(c.scene, c.on, func() (*scene.Timeline, error) { return s.server.scene(c.scene) })
	case "meet":
		s.play("meeting", false, func() (*scene.Timeline, error) { return s.server.planning.meeting(c.callout, c.step) })
	case "stop":
		s.server.worker.drop()
		bench.Stop()
		bench.Lever(0)
		bench.Drive(listen.ByScene)
	case "loop":
		bench.Loop(c.on)
	case "planned":
		s.server.chosen.Store(true)
		bench.Planned(c.on)
	case "fader", "mute", "solo":
		s.mix(c)
	case "hall":
		bench.InHall(c.on)
	case "cabinet":
		bench.ThroughCabinet(c.on)
	case "volume":
		bench.Volume(c.db)
	case "reset":
		bench.ResetHolds()
	}
}

// silence is open to every tab: whoever wants it silent need not look for the
// one that plays.
func (s *session) silence() {
	s.server.worker.drop()
	s.server.stage.pressed()
	if mine, taken := s.server.stage.holds(s); taken && !mine {
		s.say(silencedJSON)
	}
}

func (s *session) start(take, again bool) {
	before, ok := s.server.stage.enter(s, take, again)
	if !ok {
		s.say(busyJSON)
		return
	}
	if before != nil {
		before.taken()
	}
	s.mu.Lock()
	s.pace.start(time.Now())
	s.mu.Unlock()
	s.rouse()
}

func (s *session) played(frames, underruns int64) {
	now := time.Now()
	s.mu.Lock()
	away := time.Duration(0)
	if s.pace.deaf {
		away = now.Sub(s.pace.heard)
	}
	s.mu.Unlock()
	if away > longAway {
		s.server.stage.hush(s)
	}
	s.mu.Lock()
	s.pace.report(now, frames, underruns)
	s.mu.Unlock()
	s.rouse()
}

// play has a scene made ready and played.
func (s *session) play(name string, loop bool, timeline func() (*scene.Timeline, error)) {
	s.server.worker.put(job{
		name: name,
		play: func(ctx context.Context) error {
			t, err := timeline()
			if err != nil {
				return err
			}
			return s.server.bench.Play(ctx, t, loop)
		},
		fail: s.complain,
	})
}

func (s *session) mix(c control) {
	bench := s.server.bench
	switch {
	case !slices.Contains(s.server.facts.Categories, c.category):
		s.complain(errors.New("this package has no such category"))
	case c.do == "fader":
		bench.Fader(c.category, c.db)
	case c.do == "mute":
		bench.Mute(c.category, c.on)
	default:
		bench.Solo(c.category, c.on)
	}
}

// complain tells the browser of an error, in one line.
func (s *session) complain(err error) {
	text, err := json.Marshal(errorJSON{"error", sentence(err)})
	if err == nil {
		s.say(text)
	}
}

// sentence returns an error as one line.
func sentence(err error) string {
	var many sheet.Errors
	if errors.As(err, &many) {
		return report.Printable(many.Summary())
	}
	if joined, ok := err.(interface{ Unwrap() []error }); ok {
		if all := joined.Unwrap(); len(all) > 1 {
			return report.Printable(fmt.Sprintf("%v; and %d more", all[0], len(all)-1))
		}
	}
	return report.Printable(err.Error())
}

type errorJSON struct {
	Kind string `json:"kind"`
	Text string `json:"text"`
}

var (
	busyJSON  = []byte(`{"kind":"busy"}`)
	takenJSON = []byte(`{"kind":"taken"}`)
	// Another tab plays, and this one has silenced it.
	silencedJSON = []byte(`{"kind":"silenced"}`)

	errNobodyPlays = errors.New("no tab plays: start the sound here first")
)
