package cli

import (
	"context"
	"fmt"
	"os"
	"path/filepath"

	"github.com/schollz/progressbar/v3"
	"github.com/spf13/cobra"

	"tachbench/cmd/internal/demo"
	"tachbench/cmd/internal/report"
	"tachbench/mixplan/engine"
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
effects and callouts. Then renders the sled's note and draws it.

The engine is generated, not recorded; the callouts are synthesised speech.`,
		Example: `  tachbench demo
  tachbench demo /tmp/sled --force`,
		Args: cobra.MaximumNArgs(1),
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

// The renders of the demo, in folder rendered of the package.
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
	sh, err := sheet.Load(sheetPath)
	if err != nil {
		return err
	}
	if err := os.MkdirAll(filepath.Join(o.dir, "rendered"), 0o755); err != nil {
		return &file.EnvironmentError{Path: o.dir, Op: "create", Err: bare(err)}
	}
	var results []report.Render
	err = attend(ctx, func() error {
		eng, _, err := engine.Load(sh)
		if err != nil {
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
	_, err = fmt.Fprint(s.Out, demoText(o.dir, sheetPath, sh, results))
	return outError(err)
}

func demoRender(dir string, sh *sheet.Sheet, eng *engine.Engine, name string, opt renderOptions) (report.Render, error) {
	opt.sheet = filepath.Join(dir, demo.SheetName)
	opt.out = filepath.Join(dir, "rendered", name+".wav")
	opt.plot = filepath.Join(dir, "rendered", name+".svg")
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
func demoText(dir, sheetPath string, sh *sheet.Sheet, results []report.Render) string {
	r := results[0]
	out := fmt.Sprintf("%s: %d engine recordings", sh.Title, len(sh.Engine.Recordings))
	for _, c := range sh.Categories {
		out += fmt.Sprintf(", %d in %s", len(c.Files), c.Name)
	}
	out += "\n"
	for _, l := range r.Coverage.Layers {
		out += fmt.Sprintf("  load %.0f: %d engine cycles from %.0f to %.0f RPM, stretched by at most %.1f %% between idle and redline\n", l.Load, l.Grains, l.FromRPM, l.ToRPM, l.Worst)
	}
	out += "\nmade in " + dir + "\n"
	out += fmt.Sprintf("  %-22s the sound sheet: read it first\n", demo.SheetName)
	for i, d := range demoRenders {
		what := []string{"the note from 1600 to 8000 RPM", "the launch challenge along curves/launch.csv", "a throttle button, through the crank model"}[i]
		out += fmt.Sprintf("  %-22s %s\n", "rendered/"+d.name+".wav", what)
		out += fmt.Sprintf("  %-22s its spectrogram, with the orders asked for\n", "rendered/"+d.name+".svg")
	}
	p := report.Printable(sheetPath)
	run := program() + " "
	out += "\nEngine notes are loud and steady: start your headphones low.\n\nnext\n"
	for _, next := range []string{
		"tacho --sheet " + p,
		"render " + p + " --hold 5400 --seconds 5 --out hold.wav",
		"fidelity " + p,
	} {
		out += "  " + run + next + "\n"
	}
	return out
}
