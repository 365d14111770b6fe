package page

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log"
	"net"
	"net/http"
	"sync"
	"sync/atomic"
	"time"

	"github.com/coder/websocket"

	"tachbench/mixplan/ear"
	"tachbench/mixplan/scene"
	"tachbench/samples/sheet"
)

const (
	maxConnections = 64
	maxSockets     = 8
	// stopWait is how long Serve waits for browsers to be told that it ends.
	stopWait = 600 * time.Millisecond
)

// Options say what a page is for.
type Options struct {
	Sheet     *sheet.Sheet
	Library   *scene.Library
	Chain     *ear.Chain
	HasEngine bool
	Bench     Bench
}

// Server is the bench page of one sheet.
type Server struct {
	sheet    *sheet.Sheet
	library  *scene.Library
	bench    Bench
	facts    packageJSON
	about    []byte // facts as JSON
	assets   map[string]asset
	stage    stage
	planning planning
	worker   *worker
	chosen   atomic.Bool // somebody has switched between planned and plain

	listener net.Listener
	guard    *guard
	ctx      context.Context // of Serve
	sockets  atomic.Int64
	sessions sync.WaitGroup
}

// New returns the page, to be served on l. It panics if a part of Options is
// missing.
func New(o Options, l net.Listener) (*Server, error) {
	if o.Sheet == nil || o.Library == nil || o.Chain == nil || o.Bench == nil {
		panic("page: sheet, library, chain and bench are needed")
	}
	host, port, err := net.SplitHostPort(l.Addr().String())
	if err != nil {
		return nil, fmt.Errorf("cannot tell the address that is listened on: %w", err)
	}
	s := &Server{
		sheet:   o.Sheet,
		library: o.Library,
		bench:   o.Bench,
		facts:   newPackage(o.Sheet, o.Chain, o.HasEngine, o.Bench.Snapshot()),
		assets:  assets(),
		stage:   stage{bench: o.Bench, startVolumeDB: o.Bench.Snapshot().VolumeDB},
		worker:  newWorker(o.Bench.Stop),
		// Nobody can take a connection apart that is not there yet.
		listener: &crowd{Listener: l, most: maxConnections},
	}
	if s.about, err = json.Marshal(s.facts); err != nil {
		return nil, err
	}
	hosts := []string{net.JoinHostPort(host, port), net.JoinHostPort("127.0.0.1", port), net.JoinHostPort("localhost", port)}
	s.guard = newGuard(hosts, port, http.HandlerFunc(s.serve))
	return s, nil
}

// Address returns where a browser finds the page, token included.
func (s *Server) Address() string {
	return "http://" + s.guard.hosts[0] + "/?token=" + s.guard.token
}

// Pass returns an address that works once, for a browser that is started with
// it.
func (s *Server) Pass() string { return "http://" + s.guard.hosts[0] + "/?pass=" + s.guard.pass() }

// connKey is the key of the net.Conn in the context of a request.
type connKey struct{}

// Serve answers until ctx ends, then closes everything within a second and
// returns nil. It may be called once.
func (s *Server) Serve(ctx context.Context) error {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	s.ctx = ctx
	server := &http.Server{
		Handler:           s.guard,
		ReadHeaderTimeout: 5 * time.Second,
		ReadTimeout:       10 * time.Second,
		WriteTimeout:      10 * time.Second,
		IdleTimeout:       30 * time.Second,
		MaxHeaderBytes:    16 << 10,
		ErrorLog:          log.New(io.Discard, "", 0), // what a stranger does wrong is no news to the user
		ConnContext:       func(ctx context.Context, c net.Conn) context.Context { return context.WithValue(ctx, connKey{}, c) },
	}
	var work sync.WaitGroup
	work.Go(func() { s.worker.run(ctx) })
	failed := make(chan error, 1)
	go func() { failed <- server.Serve(s.listener) }()
	var err error
	select {
	case err = <-failed:
		cancel()
	case <-ctx.Done():
	}
	server.Close()
	told := make(chan struct{})
	go func() {
		s.sessions.Wait()
		work.Wait()
		close(told)
	}()
	select {
	case <-told:
	case <-time.After(stopWait):
	}
	if errors.Is(err, http.ErrServerClosed) {
		err = nil
	}
	return err
}

// serve answers who has been let in.
func (s *Server) serve(w http.ResponseWriter, r *http.Request) {
	switch r.URL.Path {
	case "/sound":
		s.open(w, r)
		return
	case "/package.json":
		answer(w, asset{mediaTypes[".json"], s.about})
		return
	case "/map.json":
		if m := s.planning.theMap(); m != nil {
			answer(w, asset{mediaTypes[".json"], m})
			return
		}
	}
	a, ok := s.assets[r.URL.Path]
	if !ok {
		refuse(w, http.StatusNotFound, "There is nothing here.\n")
		return
	}
	answer(w, a)
}

func answer(w http.ResponseWriter, a asset) {
	w.Header().Set("Content-Type", a.kind)
	_, _ = w.Write(a.body) // whoever asked may have gone
}

// open makes a request into a socket.
func (s *Server) open(w http.ResponseWriter, r *http.Request) {
	// A browser always says where a socket comes from.
	if r.Header.Get("Origin") != "http://"+r.Host {
		refuse(w, http.StatusForbidden, saysCross)
		return
	}
	raw, ok := r.Context().Value(connKey{}).(net.Conn)
	if !ok {
		refuse(w, http.StatusInternalServerError, "No connection to speak on.\n")
		return
	}
	if s.sockets.Add(1) > maxSockets {
		s.sockets.Add(-1)
		refuse(w, http.StatusServiceUnavailable, "The page is open in too many tabs.\n")
		return
	}
	defer s.sockets.Add(-1)
	s.sessions.Add(1)
	defer s.sessions.Done()
	ws, err := websocket.Accept(w, r, nil)
	if err != nil {
		return // Accept has answered
	}
	newSession(s, ws, raw).run(s.ctx)
}

// scene lays out a scene of the sheet.
func (s *Server) scene(name string) (*scene.Timeline, error) {
	for _, sc := range s.sheet.Scenes {
		if sc.Name == name {
			return scene.Build(s.sheet, s.library, name)
		}
	}
	return nil, errors.New("this sheet has no such scene")
}

// PlanProgress tells open pages what is being done for the plan.
func (s *Server) PlanProgress(doing string, done, all int) {
	s.planning.say(planJSON{Doing: doing, Done: done, All: all})
}

// PlanFailed tells open pages why there is no plan.
func (s *Server) PlanFailed(err error) {
	s.planning.say(planJSON{Error: sentence(err)})
}

// PlanReady hands a plan to the bench and shows it. From then on the machine is
// heard as planned, unless somebody has chosen already.
func (s *Server) PlanReady(ctx context.Context, p Plan) error {
	if err := s.bench.SetPlan(ctx, p.Plan); err != nil {
		return err
	}
	if !s.chosen.Load() {
		s.bench.Planned(true)
	}
	return s.planning.ready(p)
}
