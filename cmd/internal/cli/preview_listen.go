package cli

import (
	"context"
	"fmt"
	"io"
	"math"
	"os"
	"os/signal"
	"strings"
	"sync"
	"syscall"
	"time"

	"github.com/gopxl/beep/v2"
	"golang.org/x/term"

	"tachbench/cmd/internal/report"
	"tachbench/mixplan"
	"tachbench/mixplan/listen"
	"tachbench/mixplan/scene"
)

// player is what the session needs of a device; tests put their own in.
type player interface {
	Play(beep.Streamer) error
	Lost() <-chan error
	Underruns() int64
}

// caution is said before anything sounds.
const caution = "Headphones: turn them down now, then up until it is comfortable."

// listen plays the programme on the device, to its end or until the person
// at the keys has heard enough.
func (j *previewJob) listen(ctx context.Context, s Streams, p *programme, dev player) error {
	if !j.interactive {
		s.note(fmt.Sprintf("Playing %s, %.1f s at %g dB. %s", j.words(), float64(p.end)/float64(p.rateHz), j.o.volume, caution))
		ses := &session{job: j, programme: p}
		err := ses.run(ctx, dev)
		if n := dev.Underruns(); n > 0 {
			s.note(fmt.Sprintf("The sound was torn %d times: the machine is too busy.", n))
		}
		return err
	}
	ctx, stop := signal.NotifyContext(ctx, syscall.SIGHUP, syscall.SIGQUIT)
	defer stop()
	in := s.In.(*os.File)
	state, err := term.MakeRaw(int(in.Fd()))
	if err != nil {
		return environmentError{fmt.Errorf("the terminal cannot be read key by key: %w", err)}
	}
	restore := sync.OnceFunc(func() { _ = term.Restore(int(in.Fd()), state) })
	defer restore()
	p.guard = restore
	bytes := make(chan []byte)
	go readKeys(in, bytes)
	ses := &session{job: j, programme: p, bytes: bytes, screen: &screen{w: io.Discard, newline: "\r\n", columns: func() int { return 0 }}}
	if s.watched() {
		out := s.Err.(*os.File)
		ses.screen.w = out
		ses.screen.columns = func() int {
			columns, _, _ := term.GetSize(int(out.Fd()))
			return columns
		}
	}
	ses.screen.say(append([]string{caution, ""}, ses.help()...)...)
	defer ses.screen.end()
	return ses.run(ctx, dev)
}

// readKeys passes on what the terminal sends until it ends.
func readKeys(r io.Reader, to chan<- []byte) {
	defer close(to)
	for {
		b := make([]byte, 64)
		n, err := r.Read(b)
		if n > 0 {
			to <- b[:n]
		}
		if err != nil {
			return
		}
	}
}

// session is a person, or nobody, at the keys while the programme plays.
type session struct {
	job       *previewJob
	programme *programme
	bytes     <-chan []byte // nil: no keys
	screen    *screen       // nil: nobody watches

	keys     keyParser
	hand     throttle
	rest     float64 // where the lever stands when the throttle is not held
	lever    float64 // as last sent
	touched  bool    // the lever has been used
	muted    bool
	prepared chan readied
	cancel   context.CancelFunc // of the scene being prepared
	quit     bool
	quitErr  error
}

// readied is the end of a scene's preparation.
type readied struct {
	name string
	err  error
}

const (
	sessionTick  = 20 * time.Millisecond
	ticksPerLine = 5 // ten lines a second
	// quietWithin is the bench's ramp and what lies in the device's buffer.
	quietWithin = 80 * time.Millisecond
)

func (s *session) run(ctx context.Context, dev player) error {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	s.prepared = make(chan readied)
	if err := dev.Play(s.programme); err != nil {
		return environmentError{err}
	}
	tick := time.NewTicker(sessionTick)
	defer tick.Stop()
	esc := time.NewTimer(time.Hour)
	defer esc.Stop()
	for n := 0; ; {
		select {
		case <-ctx.Done():
			return ctx.Err()
		case err := <-dev.Lost():
			return environmentError{err}
		case <-s.programme.ended:
			return nil
		case r := <-s.prepared:
			if r.err != nil && ctx.Err() == nil {
				s.say("scene " + r.name + ": " + strings.ReplaceAll(r.err.Error(), "\n", "; "))
			}
		case b, ok := <-s.bytes:
			if !ok {
				return nil // the terminal is gone
			}
			for _, c := range b {
				s.keys.feed(c, func(k key) { s.press(ctx, k) })
			}
			if s.keys.pending() {
				esc.Reset(escWithin)
			}
		case <-esc.C:
			s.keys.flush(func(k key) { s.press(ctx, k) })
		case <-tick.C:
			s.move(time.Now())
			if n++; n%ticksPerLine == 0 && s.screen != nil {
				s.screen.meter(meterLine(s.programme.bench.Snapshot(), s.muted))
			}
		}
		if s.quit {
			// Not cut off midway: a click, in somebody's ears.
			s.programme.bench.Silence()
			time.Sleep(quietWithin)
			return s.quitErr
		}
	}
}

func (s *session) say(lines ...string) {
	if s.screen == nil {
		return
	}
	for i := range lines {
		lines[i] = report.Printable(lines[i])
	}
	s.screen.say(lines...)
}

// help is the keys, in lines of at most 79 columns.
func (s *session) help() []string {
	var lines []string
	if s.job.sh.Engine != nil {
		lines = append(lines,
			"space   throttle: press and hold; it shuts a moment after you let go",
			"up down lever by a tenth, and it stays;  0 shuts it")
	}
	if names := s.sceneKeys(); names != "" {
		lines = append(lines, names)
	}
	muted := "everything"
	if s.job.sh.Engine != nil {
		muted = "engine"
	}
	return append(lines,
		"p planned/plain  l loop  x stop scene  m mute "+muted+"  h hall  c cabinet",
		"+ - volume  Esc or s silence at once  ? these keys  q quit")
}

// sceneKeys is as many scenes as fit the line.
func (s *session) sceneKeys() string {
	line := "1-9     scene:"
	for i, sc := range s.job.sh.Scenes {
		word := fmt.Sprintf("  %d %s", i+1, report.Printable(sc.Name))
		if i >= 9 || len([]rune(line+word)) > 74 {
			return line + "  ..."
		}
		line += word
	}
	if len(s.job.sh.Scenes) == 0 {
		return ""
	}
	return line
}

// press does what a key says.
func (s *session) press(ctx context.Context, k key) {
	b := s.programme.bench
	shown := b.Snapshot()
	switch {
	case k == keyCtrlC:
		s.quit, s.quitErr = true, context.Canceled
	case k == 'q', k == 'Q', k == keyCtrlD:
		s.quit = true
	case k == keyEsc, k == 's', k == 'S':
		s.stopPreparing()
		s.hand.drop()
		s.rest, s.lever = 0, 0
		s.programme.drop()
		b.Silence()
	case k == ' ':
		s.hand.press(time.Now())
		s.take(shown)
	case k == keyUp:
		s.rest = math.Min(1, s.rest+0.1)
		s.take(shown)
	case k == keyDown:
		s.rest = math.Max(0, s.rest-0.1)
		s.take(shown)
	case k == '0':
		s.hand.drop()
		s.rest = 0
	case k >= '1' && k <= '9':
		s.start(ctx, int(k-'1'), shown.Looping || s.job.o.loop)
	case k == 'p', k == 'P':
		if !shown.HasPlan {
			s.say("no plan: give --plan plan.toml")
			return
		}
		b.Planned(!shown.Planned)
	case k == 'l', k == 'L':
		s.job.o.loop = !shown.Looping
		b.Loop(s.job.o.loop)
	case k == 'x', k == 'X':
		s.stopPreparing()
		b.Stop()
	case k == 'm', k == 'M':
		s.mute()
	case k == 'h', k == 'H':
		b.InHall(!shown.Hall)
	case k == 'c', k == 'C':
		b.ThroughCabinet(!shown.Cabinet)
	case k == '+', k == '=':
		b.Volume(shown.VolumeDB + 2)
	case k == '-', k == '_':
		b.Volume(shown.VolumeDB - 2)
	case k == '?':
		s.say(s.help()...)
	}
}

// take gives the engine to the hand, from a scene's curve or out of silence.
func (s *session) take(shown listen.Snapshot) {
	if s.job.sh.Engine == nil {
		s.say("this sheet has no engine, so there is nothing to throttle")
		s.hand.drop()
		s.rest = 0
		return
	}
	s.touched = true
	s.programme.drop()
	if shown.Drive != listen.ByLever || shown.Silenced {
		s.programme.bench.Drive(listen.ByLever)
	}
	s.move(time.Now())
}

// move brings the lever to where the hand has it.
func (s *session) move(now time.Time) {
	if !s.touched {
		return // a file's rows may work it
	}
	want := s.rest
	if s.hand.held(now) {
		want = 1
	}
	if want != s.lever {
		s.lever = want
		s.programme.bench.Lever(want)
	}
}

// mute shuts the engine, or everything where there is none, or opens it.
func (s *session) mute() {
	s.muted = !s.muted
	if s.job.sh.Engine != nil {
		s.programme.bench.Mute(mixplan.Engine, s.muted)
		return
	}
	for _, c := range s.programme.bench.Snapshot().Buses {
		s.programme.bench.Mute(c.Category, s.muted)
	}
}

func (s *session) stopPreparing() {
	if s.cancel != nil {
		s.cancel()
		s.cancel = nil
	}
}

// start prepares a scene beside the keys and plays it when it is ready.
func (s *session) start(ctx context.Context, i int, loop bool) {
	sh := s.job.sh
	if i >= len(sh.Scenes) {
		s.say(fmt.Sprintf("there is no scene %d; %s", i+1, sceneNames(sh)))
		return
	}
	s.stopPreparing()
	ctx, s.cancel = context.WithCancel(ctx)
	name, b := sh.Scenes[i].Name, s.programme.bench
	hands := s.job.lever != nil && !s.programme.dropped.Load()
	if !hands {
		s.hand.drop()
		s.rest = 0
	}
	go func() {
		err := func() error {
			tl, err := scene.Build(sh, s.programme.lib, name)
			if err != nil {
				return err
			}
			if err := b.Play(ctx, tl, loop); err != nil {
				return err
			}
			if tl.HasEngine() && !hands {
				b.Drive(listen.ByScene)
			}
			return nil
		}()
		if ctx.Err() != nil {
			return
		}
		select {
		case s.prepared <- readied{name, err}:
		case <-ctx.Done():
		}
	}()
}
