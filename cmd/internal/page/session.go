package page

import (
	"context"
	"errors"
	"net"
	"sync"
	"sync/atomic"
	"time"

	"github.com/coder/websocket"
)

const (
	statesPerS = 20
	// writeWait is how long a browser may leave what it is sent unread. After
	// that its connection is dropped, and nothing but that.
	writeWait = 2 * time.Second
	// closeWait is how long it may take to answer a close.
	closeWait = 300 * time.Millisecond
)

// session is one open socket. Three goroutines work at it: one reads, one sends
// sound, one sends words.
type session struct {
	server *Server
	ws     *websocket.Conn
	raw    net.Conn // under ws, for deadlines that cost nothing
	gone   chan struct{}
	rousal chan struct{}
	words  chan []byte
	lost   chan struct{} // closed when another tab took over
	lose   sync.Once

	seq atomic.Uint32 // of the last control that the bench was given

	mu   sync.Mutex
	pace pacing
}

func newSession(server *Server, ws *websocket.Conn, raw net.Conn) *session {
	return &session{
		server: server,
		ws:     ws,
		raw:    raw,
		gone:   make(chan struct{}),
		rousal: make(chan struct{}, 1),
		words:  make(chan []byte, 8),
		lost:   make(chan struct{}),
		pace:   newPacing(server.bench.RateHz()),
	}
}

// run serves the socket until it ends or ctx does.
func (s *session) run(ctx context.Context) {
	var others sync.WaitGroup
	others.Go(s.sound)
	others.Go(func() { s.tell(ctx) })
	s.read()
	close(s.gone)
	s.raw.Close()
	others.Wait()
	s.ws.CloseNow()
	if s.server.stage.leave(s) {
		s.server.bench.Lever(0)
	}
}

// read takes messages until the socket ends.
func (s *session) read() {
	s.ws.SetReadLimit(maxMessage)
	for {
		kind, text, err := s.ws.Read(context.Background())
		if err != nil {
			return
		}
		if kind != websocket.MessageText {
			s.close(websocket.StatusPolicyViolation, "messages must be text")
			return
		}
		c, err := parseControl(text)
		if err != nil {
			s.close(websocket.StatusPolicyViolation, err.Error())
			return
		}
		s.act(c)
	}
}

// close says why the socket ends and ends it, whether the browser answers or
// not.
func (s *session) close(code websocket.StatusCode, reason string) {
	late := time.AfterFunc(closeWait, func() { s.raw.Close() })
	defer late.Stop()
	_ = s.raw.SetWriteDeadline(time.Now().Add(closeWait))
	_ = s.ws.Close(code, reason) // whoever does not answer is closed all the same
}

// rouse lets the sound look again.
func (s *session) rouse() {
	select {
	case s.rousal <- struct{}{}:
	default:
	}
}

// say has words sent. A browser that does not read loses them.
func (s *session) say(text []byte) {
	select {
	case s.words <- text:
	default:
	}
}

// taken tells that another tab plays now.
func (s *session) taken() { s.lose.Do(func() { close(s.lost) }) }

// sound sends blocks as they are due. It allocates nothing in the steady state.
func (s *session) sound() {
	frames := make([][2]float64, s.pace.block)
	wire := make([]byte, 0, headerBytes+frameBytes*len(frames))
	patience := time.NewTimer(deafAfter)
	defer patience.Stop()
	for {
		s.mu.Lock()
		h, due := s.pace.due()
		s.mu.Unlock()
		if due {
			h.seq = s.seq.Load()
			if !s.server.stage.fill(s, frames) {
				return // another tab plays; this socket is about to be closed
			}
			wire = appendBlock(wire[:0], h, frames)
			if s.write(websocket.MessageBinary, wire) != nil {
				return
			}
			continue
		}
		patience.Reset(deafAfter)
		select {
		case <-s.rousal:
		case <-patience.C:
			s.mu.Lock()
			deaf := s.pace.silence(time.Now())
			s.mu.Unlock()
			if mine, _ := s.server.stage.holds(s); deaf && mine {
				s.server.bench.Lever(0)
			}
		case <-s.gone:
			return
		}
	}
}

// write sends a message, or drops the connection if that takes too long.
func (s *session) write(kind websocket.MessageType, p []byte) error {
	err := s.raw.SetWriteDeadline(time.Now().Add(writeWait))
	if err == nil {
		err = s.ws.Write(context.Background(), kind, p)
	}
	if err != nil && !errors.Is(err, net.ErrClosed) {
		s.raw.Close()
	}
	return err
}

// tell sends words: the state, how far the plan is, answers.
func (s *session) tell(ctx context.Context) {
	tick := time.NewTicker(time.Second / statesPerS)
	defer tick.Stop()
	planSeen, faultSeen := -1, ""
	for {
		var err error
		select {
		case <-tick.C:
			err = s.tellState(&planSeen, &faultSeen)
		case text := <-s.words:
			err = s.write(websocket.MessageText, text)
		case <-s.lost:
			if s.write(websocket.MessageText, takenJSON) == nil {
				s.close(websocket.StatusNormalClosure, "another tab plays now")
			}
			return
		case <-ctx.Done():
			s.close(websocket.StatusGoingAway, "tachbench page was stopped")
			return
		case <-s.gone:
			return
		}
		if err != nil {
			return
		}
	}
}

func (s *session) tellState(planSeen *int, faultSeen *string) error {
	version, text, err := s.server.planning.news(*planSeen)
	if err == nil && text != nil {
		*planSeen = version
		err = s.write(websocket.MessageText, text)
	}
	if err != nil {
		return err
	}
	if fault := s.server.bench.Err(); fault != nil && fault.Error() != *faultSeen {
		*faultSeen = fault.Error()
		s.complain(fault)
	}
	text, err = marshalState(s.server.stage.snapshot(), s.server.worker.doing())
	if err != nil {
		return err
	}
	return s.write(websocket.MessageText, text)
}
