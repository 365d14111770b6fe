package cli

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"math"
	"path/filepath"
	"strings"
	"time"

	"github.com/schollz/progressbar/v3"
	"github.com/spf13/cobra"

	"tachbench/analysis/sii"
	"tachbench/cmd/internal/planpage"
	"tachbench/cmd/internal/report"
	"tachbench/mixplan"
	"tachbench/mixplan/solve"
	"tachbench/samples/file"
	"tachbench/samples/sheet"
)

// planOptions is what the flags of plan say.
type planOptions struct {
	sheet    string
	out      string
	check    string
	page     string
	target   float64
	overruns float64
	seed     uint64
	json     bool
	force    bool
}

func newPlan(s Streams, run func(context.Context, Streams, planOptions) error) *cobra.Command {
	var o planOptions
	cmd := &cobra.Command{
		Use:   "plan SHEET",
		Short: "What has to yield so that every callout is understood",
		Long: `Lets every callout meet the hall, the music, the effects and the engine at
every step of its revs, and computes how much of it a player understands
(speech intelligibility index, ANSI S3.5). Finds the smallest trims and ducks
that bring every callout to the target in nine of ten meetings, says for each
of the others what stands in the way, plays the machine for half an hour to
see how often the sum runs over full scale, and measures it all again on
rendered scenes.

The plan is a text file with the reason behind each number. Change what you
like and have it judged with --check; mix --plan makes it audible.`,
		Example: `  tachbench plan soundsheet.toml --out plan.toml --report plan.html
  tachbench plan soundsheet.toml --check plan.toml
  tachbench plan soundsheet.toml --target 0.6 --json`,
		Args: atMostOne,
		RunE: func(cmd *cobra.Command, args []string) error {
			if len(args) == 1 {
				o.sheet = args[0]
			}
			if cmd.Flags().Changed("target") && o.target == 0 {
				return errors.New("--target 0: must be over 0 and at most 0.9")
			}
			if cmd.Flags().Changed("overruns") && o.overruns == 0 {
				return errors.New("--overruns 0: half an hour of play cannot promise never; give a rate, such as 1")
			}
			return run(cmd.Context(), s, o)
		},
	}
	f := cmd.Flags()
	f.SortFlags = false
	f.StringVar(&o.out, "out", "", "write the plan, a `FILE.toml`")
	f.StringVar(&o.check, "check", "", "judge the plan in `FILE.toml` instead of making one;\nexit status 1 if a callout misses the target")
	f.StringVar(&o.page, "report", "", "write a page with pictures to `FILE.html`")
	f.Var(numberValue{&o.target, "SII"}, "target", fmt.Sprintf("index to be reached, above 0 to 0.9;\n%g (understood) if left out, %g is clear,\n%g can be guessed", sii.UnderstoodFrom, sii.ClearFrom, sii.GuessableFrom))
	f.Var(numberValue{&o.overruns, "N"}, "overruns", fmt.Sprintf("how often an hour the sum may run over full scale;\n%d if left out", solve.OverrunsPerHour))
	f.Var(seedValue{&o.seed}, "seed", "`NUMBER` that decides all random meetings and play")
	f.BoolVar(&o.json, "json", false, "print one JSON document instead of text")
	f.BoolVar(&o.force, "force", false, "replace files that exist")
	return cmd
}

func runPlan(ctx context.Context, s Streams, o planOptions) error {
	if err := o.checkFlags(); err != nil {
		return err
	}
	sh, err := loadSheet(o.sheet)
	if err != nil {
		return err
	}
	job := solve.Job{Sheet: sh, Target: o.target, Seed: o.seed, OverrunsPerHour: o.overruns}
	if o.check != "" {
		if job.Plan, err = mixplan.Load(o.check); err != nil {
			return err
		}
		if err := job.Plan.Fit(sh); err != nil {
			return err
		}
	}
	if err := o.checkFiles(sh); err != nil {
		return err
	}
	sayWarnings(s, sh)
	show := newPlanProgress(s)
	job.Progress = show.show
	var r *solve.Report
	err = attend(ctx, func() (err error) {
		r, err = solve.Run(ctx, job)
		return err
	})
	show.end()
	if err != nil {
		return err
	}
	written, err := o.write(r)
	if err != nil {
		return err
	}
	if o.json {
		err = report.WriteJSON(s.Out, report.NewPlanDocument(r, written))
	} else {
		err = report.PlanText(s.Out, r, written)
	}
	if err != nil {
		return outError(err)
	}
	missed := ""
	if o.check != "" {
		if missed = missing(r); missed != "" {
			s.complain(fmt.Errorf("%s: %s", o.check, missed))
		}
	}
	if missed != "" || !r.Proof.Holds() {
		return errFindings
	}
	return nil
}

// namedMost is how many callouts a line names before it only counts.
const namedMost = 3

// missing says in one line which callouts with speech miss the target with a
// plan; nothing if none does.
func missing(r *solve.Report) string {
	var short []string
	spoken := 0
	for _, c := range r.Callouts {
		if math.IsNaN(c.Planned.P10) {
			continue
		}
		if spoken++; c.Planned.P10 < r.Target {
			short = append(short, c.Sound.Path)
		}
	}
	if len(short) == 0 {
		return ""
	}
	named := strings.Join(short[:min(len(short), namedMost)], ", ")
	if more := len(short) - namedMost; more > 0 {
		named += fmt.Sprintf(" and %d more", more)
	}
	return fmt.Sprintf("%d of %d callouts with speech miss SII %g in nine of ten meetings: %s", len(short), spoken, r.Target, named)
}

// write writes the files that were asked for.
func (o planOptions) write(r *solve.Report) ([]string, error) {
	var written []string
	if o.out != "" {
		if err := file.WriteBytes(o.out, mixplan.Format(r.Plan), o.force); err != nil {
			return written, err
		}
		written = append(written, o.out)
	}
	if o.page != "" {
		var b bytes.Buffer
		if err := planpage.Write(&b, r); err != nil {
			return written, fmt.Errorf("%s: %w", o.page, err)
		}
		if err := file.WriteBytes(o.page, b.Bytes(), o.force); err != nil {
			return written, err
		}
		written = append(written, o.page)
	}
	return written, nil
}

// checkFlags looks at the flags alone.
func (o planOptions) checkFlags() error {
	switch {
	case o.sheet == "":
		return errors.New("plan: no sheet; name one, such as soundsheet.toml")
	case o.target < 0 || o.target > 0.9:
		return fmt.Errorf("--target %g: must be over 0 and at most 0.9; %g is understood, %g clear", o.target, sii.UnderstoodFrom, sii.ClearFrom)
	case o.overruns < 0:
		return fmt.Errorf("--overruns %g: must not be negative", o.overruns)
	case o.out != "" && o.check != "":
		return errors.New("plan: --check judges a plan and --out makes one; give one of them")
	case o.out != "" && !strings.EqualFold(filepath.Ext(o.out), ".toml"):
		return fmt.Errorf("--out %s: its name must end in .toml", o.out)
	case o.page != "" && !hasSuffix(o.page, []string{".html", ".htm"}):
		return fmt.Errorf("--report %s: its name must end in .html", o.page)
	}
	return nil
}

// checkFiles refuses to write over anything that the plan is made from.
func (o planOptions) checkFiles(sh *sheet.Sheet) error {
	inputs := []string{o.sheet}
	if o.check != "" {
		inputs = append(inputs, o.check)
	}
	for _, p := range sh.Used() {
		inputs = append(inputs, p.Abs)
	}
	for _, out := range [][2]string{{"--out", o.out}, {"--report", o.page}} {
		if out[1] == "" {
			continue
		}
		if err := checkOutput(out[0], out[1], inputs, o.force); err != nil {
			return err
		}
	}
	return nil
}

// planProgress says on standard error what is being done, while a person
// watches.
type planProgress struct {
	on    bool
	s     Streams
	bar   *progressbar.ProgressBar
	begun time.Time
}

func newPlanProgress(s Streams) *planProgress {
	return &planProgress{on: s.watched(), s: s, begun: time.Now()}
}

// show is called by one goroutine at a time. A line that cannot be drawn is
// no reason to stop.
func (p *planProgress) show(doing string, done, all int) {
	if !p.on || time.Since(p.begun) < redrawn {
		return
	}
	if p.bar == nil {
		p.bar = progressbar.NewOptions(-1, progressbar.OptionSetWriter(p.s.Err), progressbar.OptionClearOnFinish(), progressbar.OptionSetWidth(10))
	}
	if all > 0 {
		doing = fmt.Sprintf("%s, %d of %d files", doing, done, all)
	}
	p.bar.Describe(doing)
	_ = p.bar.Add(1)
}

func (p *planProgress) end() {
	if p.bar != nil {
		_ = p.bar.Finish()
	}
}
