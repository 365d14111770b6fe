package cli

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"path/filepath"

	"github.com/schollz/progressbar/v3"
	"github.com/spf13/cobra"

	"tachbench/cmd/internal/auditpage"
	"tachbench/cmd/internal/demo"
	"tachbench/cmd/internal/report"
	"tachbench/mixplan"
	"tachbench/mixplan/audit"
	"tachbench/mixplan/engine"
	"tachbench/mixplan/scene"
	"tachbench/mixplan/solve"
	"tachbench/samples/file"
	"tachbench/samples/sheet"
)

// demoOptions is what the flags of demo say.
type demoOptions struct {
	dir   string
	force bool
}

func newDemo(s Streams, run func(context.Context, Streams, demoOptions) error) *cobra.Command {
	var o demoOptions
	cmd := &cobra.Command{
		Use:   "demo [DIR]",
		Short: "Write the Snow Depot package and do the whole job on it",
		Long: `Writes the demonstration package into DIR (snow-depot if left out): the sound
sheet of an invented alley game with a snow sled, engine recordings, music,
effects and callouts. Then, into DIR-rendered, renders the sled's note, draws
it, audits the package, plans its mix, and renders the launch scene with the
plan and without.

The engine is generated, not recorded; the callouts are synthesised speech.`,
		Example: `  tachbench demo
  tachbench demo /tmp/sled --force`,
		Args: atMostOne,
		RunE: func(cmd *cobra.Command, args []string) error {
			o.dir = "snow-depot"
			if len(args) == 1 {
				o.dir = args[0]
			}
			return run(cmd.Context(), s, o)
		},
	}
	cmd.Flags().BoolVar(&o.force, "force", false, "replace the demo that is there")
	return cmd
}

// renderedIn is the folder of the demo's renders, beside the package: what is
// in the package is what goes to the machine.
func renderedIn(dir string) string { return filepath.Clean(dir) + "-rendered" }

// The renders of the demo.
var demoRenders = []struct {
	name string
	opt  renderOptions
}{
	{"sweep", renderOptions{sweep: "1600:8000", seconds: 8, secondsGiven: true, load: 1}},
	{"launch", renderOptions{curve: "curves/launch.csv", load: 1}},
	{"button", renderOptions{lever: "curves/presses.csv", load: 1}},
}

func runDemo(ctx context.Context, s Streams, o demoOptions) error {
	var bar *progressbar.ProgressBar
	if s.watched() {
		bar = progressbar.NewOptions(-1, progressbar.OptionSetWriter(s.Err), progressbar.OptionSetDescription("making sounds"), progressbar.OptionClearOnFinish())
	}
	err := demo.Write(ctx, o.dir, o.force, func(done, of int) {
		if bar != nil {
			bar.ChangeMax(of)
			_ = bar.Set(done)
		}
	})
	if bar != nil {
		_ = bar.Finish()
	}
	if err != nil {
		return err
	}
	sheetPath := filepath.Join(o.dir, demo.SheetName)
	sh, err := loadSheet(sheetPath)
	if err != nil {
		return err
	}
	if err := os.MkdirAll(renderedIn(o.dir), 0o755); err != nil {
		return &file.EnvironmentError{Path: renderedIn(o.dir), Op: "create", Err: bare(err)}
	}
	var results []report.Render
	var eng *engine.Engine
	err = attend(ctx, func() (err error) {
		if eng, _, err = engine.Load(sh); err != nil {
			return err
		}
		for _, d := range demoRenders {
			r, err := demoRender(o.dir, sh, eng, d.name, d.opt)
			if err != nil {
				return err
			}
			results = append(results, r)
		}
		return nil
	})
	if err != nil {
		return err
	}
	found, err := demoAudit(ctx, o.dir, sheetPath)
	if err != nil {
		return err
	}
	planned, mixes, err := demoPlan(ctx, s, o.dir, sh, eng)
	if err != nil {
		return err
	}
	_, err = fmt.Fprint(s.Out, demoText(o.dir, sheetPath, sh, results, []string{"audit: " + found, planned}, mixes))
	return outError(err)
}

// demoAudit measures the package, writes the report page, and returns the
// summary in a line.
func demoAudit(ctx context.Context, dir, sheetPath string) (string, error) {
	var res *audit.Result
	err := attend(ctx, func() error {
		var err error
		res, err = audit.Run(ctx, audit.Inputs{Sheet: sheetPath}, audit.Options{Charts: true})
		return err
	})
	if err != nil {
		return "", err
	}
	var page bytes.Buffer
	if err := auditpage.Write(&page, res); err != nil {
		return "", err
	}
	return report.AuditSummaryLine(res), file.WriteBytes(filepath.Join(renderedIn(dir), "audit.html"), page.Bytes(), true)
}

// The scene that the demo renders with its plan and without.
const demoScene = "launch"

// demoPlan plans the mix, writes the plan, its page and a scene with and
// without it, and returns the summary in a line, and the mixes.
func demoPlan(ctx context.Context, s Streams, dir string, sh *sheet.Sheet, eng *engine.Engine) (string, []report.Mix, error) {
	in := func(name string) string { return filepath.Join(renderedIn(dir), name) }
	show := newPlanProgress(s)
	var r *solve.Report
	err := attend(ctx, func() (err error) {
		r, err = solve.Run(ctx, solve.Job{Sheet: sh, Progress: show.show})
		return err
	})
	show.end()
	if err != nil {
		return "", nil, err
	}
	if _, err := (planOptions{out: in("plan.toml"), page: in("plan.html"), force: true}).write(r); err != nil {
		return "", nil, err
	}
	mixes := make([]report.Mix, 2)
	err = attend(ctx, func() error {
		tl, err := scene.Build(sh, scene.NewLibrary(sh.SampleRateHz), demoScene)
		if err != nil {
			return err
		}
		for i, plan := range []*mixplan.Plan{r.Plan, nil} {
			mix := mixOptions{out: in(demoScene + []string{"-planned", "-plain"}[i] + ".wav"), force: true}
			if err := mix.write(ctx, sh, tl, eng, plan, &mixes[i]); err != nil {
				return err
			}
		}
		return nil
	})
	return report.PlanSummaryLine(r), mixes, err
}

func demoRender(dir string, sh *sheet.Sheet, eng *engine.Engine, name string, opt renderOptions) (report.Render, error) {
	opt.sheet = filepath.Join(dir, demo.SheetName)
	opt.out = filepath.Join(renderedIn(dir), name+".wav")
	opt.plot = filepath.Join(renderedIn(dir), name+".svg")
	opt.force = true
	for _, in := range []*string{&opt.curve, &opt.lever} {
		if *in != "" {
			*in = filepath.Join(dir, filepath.FromSlash(*in))
		}
	}
	revs, err := opt.revs(sh)
	if err != nil {
		return report.Render{}, err
	}
	return opt.write(sh, eng, revs)
}

// demoText is what the demo says at the end: what was made, where, and what
// to run next.
func demoText(dir, sheetPath string, sh *sheet.Sheet, results []report.Render, found []string, mixes []report.Mix) string {
	r := results[0]
	out := fmt.Sprintf("%s: %d engine recordings", sh.Title, len(sh.Engine.Recordings))
	for _, c := range sh.Categories {
		out += fmt.Sprintf(", %d in %s", len(c.Files), c.Name)
	}
	out += "\n"
	for _, l := range r.Coverage.Layers {
		out += fmt.Sprintf("  load %.0f: %d engine cycles from %.0f to %.0f RPM, stretched by at most %.1f %% between idle and redline\n", l.Load, l.Grains, l.FromRPM, l.ToRPM, l.Worst)
	}
	for _, line := range found {
		out += "  " + line + "\n"
	}
	out += "\nmade\n"
	made := func(path, what string) {
		out += fmt.Sprintf("  %-34s %s\n", report.Printable(path), what)
	}
	made(sheetPath, "the sound sheet: read it first")
	for i, d := range demoRenders {
		what := []string{"the note from 1600 to 8000 RPM", "the launch challenge along curves/launch.csv", "a throttle button, through the crank model"}[i]
		made(filepath.Join(renderedIn(dir), d.name+".wav"), what)
		made(filepath.Join(renderedIn(dir), d.name+".svg"), "its spectrogram, with the requested orders")
	}
	made(filepath.Join(renderedIn(dir), "audit.html"), "levels and defects of the package, as a page")
	plan := filepath.Join(renderedIn(dir), "plan.toml")
	made(plan, "what has to yield, with the reason for each number")
	made(filepath.Join(renderedIn(dir), "plan.html"), "the same with pictures and proof, as a page")
	for i, m := range mixes {
		what := []string{"the launch scene with the plan", "the launch scene without it"}[i]
		if m.GainDB < 0 {
			what += fmt.Sprintf(", turned down by %.1f dB for full scale", -m.GainDB)
		}
		made(m.Path, what)
	}
	p := report.Printable(sheetPath)
	run := program() + " "
	out += "\nEngine notes are loud and steady: start your headphones low.\n\nnext\n"
	for _, next := range []string{
		"tacho --sheet " + p,
		"render " + p + " --hold 5400 --seconds 5 --out hold.wav",
		"fidelity " + p,
		"audit " + p,
		"plan " + p + " --check " + report.Printable(plan),
		"page " + p + " --plan " + report.Printable(plan),
	} {
		out += "  " + run + next + "\n"
	}
	return out
}
