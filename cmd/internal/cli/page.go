package cli

import (
	"context"
	"errors"
	"fmt"
	"net"
	"os/exec"
	"runtime"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"tachbench/cmd/internal/page"
	"tachbench/mixplan"
	"tachbench/mixplan/ear"
	"tachbench/mixplan/engine"
	"tachbench/mixplan/listen"
	"tachbench/mixplan/scene"
	"tachbench/mixplan/solve"
	"tachbench/samples/sheet"
)

// pageOptions is what the flags of page say.
type pageOptions struct {
	sheet  string
	plan   string
	open   bool
	port   int
	expose string
	seed   uint64
}

func newPage(s Streams, run func(context.Context, Streams, pageOptions) error) *cobra.Command {
	var o pageOptions
	cmd := &cobra.Command{
		Use:   "page SHEET",
		Short: "Hear it on headphones, in a browser, with a hand on the lever",
		Long: `Serves one page to a browser on this computer and prints its address. Hold the
lever and the engine pulls; play scenes with the plan and without, equally
loud; click a cell of the callout × RPM map and hear exactly that meeting; see
levels, spectra and ducking while it sounds.

Without --plan the plan is worked out while you listen already. The page
starts soft, never passes its ceiling, and Esc silences everything.

Only this computer can reach the page (127.0.0.1), and only with the token in
the printed address. Ctrl-C stops it.`,
		Example: `  tachbench page soundsheet.toml --open
  tachbench page soundsheet.toml --plan plan.toml --port 8080`,
		Args: atMostOne,
		RunE: func(cmd *cobra.Command, args []string) error {
			if len(args) == 1 {
				o.sheet = args[0]
			}
			if cmd.Flags().Changed("expose-on") && o.expose == "" {
				return errors.New("--expose-on: no address; name one of this computer's, such as 192.168.1.20")
			}
			return run(cmd.Context(), s, o)
		},
	}
	f := cmd.Flags()
	f.SortFlags = false
	f.StringVar(&o.plan, "plan", "", "use the plan in `FILE.toml` instead of making one")
	f.BoolVar(&o.open, "open", false, "open the page in the browser")
	f.Var(seedValue{&o.seed}, "seed", "`NUMBER` that decides cycles, meetings and hall noise")
	f.Var(wholeValue{&o.port, "PORT"}, "port", "port to serve on; any free one if left out")
	f.StringVar(&o.expose, "expose-on", "", "serve on `ADDRESS` instead of 127.0.0.1: other\ncomputers reach the page, unencrypted. For a\ncontainer whose port is forwarded under the same\nnumber; browsers play sound from localhost only")
	return cmd
}

func runPage(ctx context.Context, s Streams, o pageOptions) error {
	if err := o.check(); err != nil {
		return err
	}
	sh, err := loadSheet(o.sheet)
	if err != nil {
		return err
	}
	var plan *mixplan.Plan
	if o.plan != "" {
		if plan, err = mixplan.Load(o.plan); err != nil {
			return err
		}
		if err := plan.Fit(sh); err != nil {
			return err
		}
	}
	sayWarnings(s, sh)
	var bench *listen.Bench
	var chain *ear.Chain
	var warnings []error
	hasEngine := sh.Engine != nil && len(sh.Engine.Recordings) > 0
	err = attend(ctx, func() (err error) {
		bench, chain, warnings, err = newBench(ctx, sh, plan, hasEngine, o.seed)
		return err
	})
	if err != nil {
		return err
	}
	for _, w := range warnings {
		s.complain(fmt.Errorf("warning: %w", w))
	}
	l, err := o.listen(ctx)
	if err != nil {
		return err
	}
	lib := scene.NewLibrary(sh.SampleRateHz)
	server, err := page.New(page.Options{Sheet: sh, Library: lib, Chain: chain, HasEngine: hasEngine, Bench: bench}, l)
	if err != nil {
		l.Close()
		return environmentError{err}
	}
	if o.expose != "" {
		s.complain(fmt.Errorf("warning: the page is served on %s, unencrypted: other computers reach it, whoever has the address below can listen and work the lever, and whoever sees the traffic has the address", o.expose))
	}
	if _, err := fmt.Fprintln(s.Out, server.Address()); err != nil {
		l.Close()
		return outError(err)
	}
	s.note("Ctrl-C stops it")
	if o.open {
		if err := openBrowser(server.Pass()); err != nil {
			s.complain(fmt.Errorf("warning: no browser could be opened (%w); open the address yourself", err))
		}
	}
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	go o.makePlan(ctx, sh, lib, plan, server)
	if err := server.Serve(ctx); err != nil {
		return environmentError{fmt.Errorf("the page ended: %w", err)}
	}
	return ctx.Err()
}

// newBench makes ready what sounds.
func newBench(ctx context.Context, sh *sheet.Sheet, plan *mixplan.Plan, hasEngine bool, seed uint64) (bench *listen.Bench, chain *ear.Chain, warnings []error, err error) {
	if chain, err = ear.New(sh.Listening); err != nil {
		return nil, nil, nil, sh.Errorf("listening", "%v", err)
	}
	var eng *engine.Engine
	if hasEngine {
		if eng, warnings, err = engine.Load(sh); err != nil {
			return nil, nil, warnings, err
		}
	}
	if bench, err = listen.New(listen.Options{Sheet: sh, Engine: eng, Chain: chain, Seed: seed}); err != nil {
		return nil, nil, warnings, fmt.Errorf("%s: %w", sh.File, err)
	}
	if plan != nil {
		err = bench.SetPlan(ctx, plan)
		bench.Planned(true)
	}
	return bench, chain, warnings, err
}

// makePlan has the plan made, or the given one judged, while the page is up.
// The page works without.
func (o pageOptions) makePlan(ctx context.Context, sh *sheet.Sheet, lib *scene.Library, plan *mixplan.Plan, server *page.Server) {
	job := solve.Job{
		Sheet: sh, Plan: plan, Seed: o.seed,
		Workers:  max(1, runtime.GOMAXPROCS(0)-1), // one core is for the sound
		Progress: server.PlanProgress,
	}
	server.PlanProgress("reading", 0, 0)
	err := spared(func() error {
		r, err := solve.Run(ctx, job)
		if err != nil {
			return err
		}
		return server.PlanReady(ctx, page.PlanOf(r, sh, lib))
	})
	if err != nil && ctx.Err() == nil {
		server.PlanFailed(err)
	}
}

// spared does work whose own fault must not end a page that somebody is
// listening to: a panic becomes an error of one line.
func spared(work func() error) (err error) {
	defer func() {
		if p := recover(); p != nil {
			what, _, _ := strings.Cut(fmt.Sprint(p), "\n")
			err = fmt.Errorf("a fault of tachbench itself while planning: %s", what)
		}
	}()
	return work()
}

// check looks at the flags alone.
func (o pageOptions) check() error {
	switch {
	case o.sheet == "":
		return errors.New("page: no sheet; name one, such as soundsheet.toml")
	case o.port < 0 || o.port > 65535:
		return fmt.Errorf("--port %d: must be 1 to 65535, or left out for any free one", o.port)
	}
	if o.expose == "" {
		return nil
	}
	ip := net.ParseIP(o.expose)
	switch {
	case ip == nil:
		return fmt.Errorf("--expose-on %s: not an address; name one of this computer's, such as 192.168.1.20", o.expose)
	case ip.IsUnspecified():
		return fmt.Errorf("--expose-on %s: means all of this computer's addresses; name one of them", o.expose)
	}
	return nil
}

// listen opens the port. An address that cannot be had is the environment's
// fault.
func (o pageOptions) listen(ctx context.Context) (net.Listener, error) {
	host := "127.0.0.1"
	if o.expose != "" {
		host = o.expose
	}
	address := net.JoinHostPort(host, strconv.Itoa(o.port))
	var lc net.ListenConfig
	l, err := lc.Listen(ctx, "tcp", address)
	if err != nil {
		var op *net.OpError
		if errors.As(err, &op) {
			err = op.Err
		}
		return nil, environmentError{fmt.Errorf("cannot serve on %s: %w", address, err)}
	}
	return l, nil
}

// openBrowser opens an address with what the system has for it.
func openBrowser(address string) error {
	name, args := "xdg-open", []string{address}
	switch runtime.GOOS {
	case "darwin":
		name = "open"
	case "windows":
		name, args = "rundll32", []string{"url.dll,FileProtocolHandler", address}
	}
	cmd := exec.Command(name, args...)
	if err := cmd.Start(); err != nil {
		return err
	}
	go func() { _ = cmd.Wait() }() // how the browser ends is its own affair
	return nil
}
