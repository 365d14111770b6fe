package cli

import (
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"tachbench/cmd/internal/report"
	"tachbench/mixplan/engine"
	"tachbench/samples/sheet"
	"tachbench/synth/curve"
)

// renderOptions is what the flags of render say.
type renderOptions struct {
	sheet   string
	out     string
	curve   string
	sweep   string
	hold    float64
	lever   string
	seconds float64
	load    float64
	seed    uint64
	plot    string
	logHz   bool
	save    string
	json    bool
	force   bool

	loadGiven, secondsGiven, holdGiven bool
}

func newRender(s Streams, run func(context.Context, Streams, renderOptions) error) *cobra.Command {
	o := renderOptions{load: 1}
	cmd := &cobra.Command{
		Use:   "render SHEET --out note.wav",
		Short: "Render the engine note along a curve of revs",
		Long: `Renders the engine note from the recordings of a sound sheet, along one of

  --sweep FROM:TO --seconds S   revs that rise or fall evenly
  --hold RPM --seconds S        steady revs
  --curve FILE.csv              rows of time_s,rpm or time_s,rpm,load
  --lever FILE.csv              rows of time_s,pressed (0..1), through the
                                sheet's crank model

and says what the recordings cannot do: where the note must be stretched by
more than 6 % and what to record next. The file has the rate and depth of the
sheet. Same sheet, curve and seed give the same bytes.`,
		Example: `  tachbench render soundsheet.toml --sweep 1600:8000 --seconds 8 --out up.wav
  tachbench render soundsheet.toml --hold 3500 --seconds 5 --out hold.wav
  tachbench render soundsheet.toml --lever presses.csv --out play.wav`,
		Args: atMostOne,
		RunE: func(cmd *cobra.Command, args []string) error {
			if len(args) == 1 {
				o.sheet = args[0]
			}
			o.loadGiven = cmd.Flags().Changed("load")
			o.secondsGiven = cmd.Flags().Changed("seconds")
			o.holdGiven = cmd.Flags().Changed("hold")
			return run(cmd.Context(), s, o)
		},
	}
	f := cmd.Flags()
	f.SortFlags = false
	f.StringVar(&o.out, "out", "", "the note, a `FILE.wav`")
	f.StringVar(&o.sweep, "sweep", "", "revs from one value to another, `FROM:TO` in RPM")
	f.Var(numberValue{&o.hold, "RPM"}, "hold", "steady revs")
	f.StringVar(&o.curve, "curve", "", "revs, and load if given, from `FILE.csv`")
	f.StringVar(&o.lever, "lever", "", "lever or button from `FILE.csv`, through the\ncrank model")
	f.Var(numberValue{&o.seconds, "S"}, "seconds", "length of a sweep or hold; of --lever, to run\non after the last row")
	f.Var(numberValue{&o.load, "0..1"}, "load", "load of a sweep, a hold, or curve rows without\none: 0 overrun, 1 full")
	f.Var(seedValue{&o.seed}, "seed", "`NUMBER` that decides the choice of cycles")
	f.StringVar(&o.plot, "plot", "", "draw the note's spectrogram with the requested\norders over it; `FILE.svg`")
	f.BoolVar(&o.logHz, "plot-log", false, "logarithmic frequency axis in the picture")
	f.StringVar(&o.save, "save-curve", "", "write the revs and load that were played as\ntime_s,rpm,load rows; `FILE.csv`")
	f.BoolVar(&o.json, "json", false, "print one JSON document instead of tables")
	f.BoolVar(&o.force, "force", false, "replace files that exist")
	return cmd
}

func runRender(ctx context.Context, s Streams, o renderOptions) error {
	if err := o.check(); err != nil {
		return err
	}
	sh, err := loadSheet(o.sheet)
	if err != nil {
		return err
	}
	if sh.Engine == nil {
		return fmt.Errorf("%s: no [engine] in this sheet; a note needs one with recordings", o.sheet)
	}
	// Sources are never written to, not even with --force.
	var sources []string
	for _, p := range sh.Used() {
		sources = append(sources, p.Abs)
	}
	for _, out := range [][2]string{{"--out", o.out}, {"--plot", o.plot}, {"--save-curve", o.save}} {
		if out[1] == "" {
			continue
		}
		if err := checkOutput(out[0], out[1], sources, o.force); err != nil {
			return err
		}
	}
	revs, err := o.revs(sh)
	if err != nil {
		return err
	}
	if err := fits(sh, revs); err != nil {
		return err
	}
	sayWarnings(s, sh)
	var result report.Render
	err = attend(ctx, func() error {
		eng, warnings, err := engine.Load(sh)
		for _, w := range warnings {
			s.complain(fmt.Errorf("warning: %w", w))
		}
		if err != nil {
			return err
		}
		result, err = o.write(sh, eng, revs)
		return err
	})
	if err != nil {
		return err
	}
	for _, w := range result.Warnings {
		s.complain(errors.New("warning: " + w))
	}
	if o.json {
		err = report.WriteJSON(s.Out, result.JSON())
	} else {
		err = report.RenderText(s.Out, result)
	}
	return outError(err)
}

// sayWarnings prints what the sheet itself is warned about.
func sayWarnings(s Streams, sh *sheet.Sheet) {
	for _, w := range sh.Warnings {
		s.complain(fmt.Errorf("warning: %w", w))
	}
}

// check looks at the flags alone.
func (o renderOptions) check() error {
	if o.sheet == "" {
		return errors.New("render: no sheet; name one, such as soundsheet.toml")
	}
	if o.out == "" {
		return errors.New("render: --out is missing; name the file to write, such as --out note.wav")
	}
	kinds := 0
	for _, given := range []bool{o.sweep != "", o.holdGiven, o.curve != "", o.lever != ""} {
		if given {
			kinds++
		}
	}
	switch {
	case kinds == 0:
		return errors.New("render: what revs? Give one of --sweep FROM:TO, --hold RPM, --curve FILE.csv or --lever FILE.csv")
	case kinds > 1:
		return errors.New("render: --sweep, --hold, --curve and --lever exclude each other; give one")
	case (o.sweep != "" || o.holdGiven) && !o.secondsGiven:
		return errors.New("render: --seconds is missing; say how long the sweep or hold lasts")
	case o.curve != "" && o.secondsGiven:
		return errors.New("render: --seconds does not go with --curve; the curve's last row ends the note")
	case o.secondsGiven && !(o.seconds > 0 && o.seconds <= maxSeconds):
		return fmt.Errorf("render: --seconds must be above 0 and at most %d, not %g", maxSeconds, o.seconds)
	case !(o.load >= 0 && o.load <= 1):
		return fmt.Errorf("render: --load must be 0 (overrun) to 1 (full load), not %g", o.load)
	case o.lever != "" && o.loadGiven:
		return errors.New("render: --load does not go with --lever; the crank model gives the load")
	}
	var inputs = []string{o.sheet}
	for _, in := range []string{o.curve, o.lever} {
		if in != "" {
			inputs = append(inputs, in)
		}
	}
	seen := map[string]string{}
	for _, out := range []struct{ flag, path, suffix string }{{"--out", o.out, ".wav"}, {"--plot", o.plot, ".svg"}, {"--save-curve", o.save, ".csv"}} {
		if out.path == "" {
			continue
		}
		if !strings.EqualFold(filepath.Ext(out.path), out.suffix) {
			return fmt.Errorf("%s %s: its name must end in %s", out.flag, out.path, out.suffix)
		}
		if other, taken := seen[filepath.Clean(out.path)]; taken {
			return fmt.Errorf("%s and %s name the same file, %s", other, out.flag, out.path)
		}
		seen[filepath.Clean(out.path)] = out.flag
		if err := checkOutput(out.flag, out.path, inputs, o.force); err != nil {
			return err
		}
	}
	return nil
}

// maxFrames bounds what a render holds in memory: 46 minutes at 48 kHz, half a
// gigabyte a channel.
const maxFrames = 1 << 27

// minSeconds is the shortest note worth a file: both its fades.
const minSeconds = 0.02

// fits refuses a note too long to hold in memory or too short to be one.
func fits(sh *sheet.Sheet, c *curve.Curve) error {
	d := c.DurationS()
	if most := float64(maxFrames) / float64(sh.SampleRateHz); d > most {
		return fmt.Errorf("render: %.0f s is too long; at %d Hz a note may last at most %.0f s", d, sh.SampleRateHz, most)
	}
	if d < minSeconds {
		return fmt.Errorf("render: %g s is too short; a note must last at least %g s", d, minSeconds)
	}
	return nil
}

// maxSeconds bounds a render: an hour of stereo is 700 MB of file.
const maxSeconds = 3600

// revs makes the curve to follow.
func (o renderOptions) revs(sh *sheet.Sheet) (*curve.Curve, error) {
	switch {
	case o.sweep != "":
		from, to, ok := strings.Cut(o.sweep, ":")
		a, errA := parseNumber(from)
		b, errB := parseNumber(to)
		if !ok || errA != nil || errB != nil {
			return nil, fmt.Errorf("--sweep %s: expected two RPM values, such as 1500:8000", o.sweep)
		}
		c, err := curve.Sweep(a, b, o.load, o.seconds)
		return c, wrapFlag(err, "--sweep "+o.sweep)
	case o.holdGiven:
		c, err := curve.Hold(o.hold, o.load, o.seconds)
		return c, wrapFlag(err, fmt.Sprintf("--hold %g", o.hold))
	case o.curve != "":
		if err := regular(o.curve); err != nil {
			return nil, err
		}
		f, err := os.Open(o.curve)
		if err != nil {
			return nil, fmt.Errorf("--curve %s: %w", o.curve, bare(err))
		}
		defer f.Close()
		c, err := curve.Parse(o.curve, f, o.load)
		if err != nil {
			return nil, err
		}
		if d := c.DurationS(); !(d > 0 && d <= maxSeconds) {
			return nil, fmt.Errorf("%s: the last row is at %g s; a curve must last above 0 and at most %d s", o.curve, d, maxSeconds)
		}
		return c, nil
	}
	return o.worked(sh)
}

func wrapFlag(err error, flag string) error {
	if err == nil {
		return nil
	}
	return fmt.Errorf("%s: %w", flag, err)
}

// worked runs the sheet's crank model under the lever.
func (o renderOptions) worked(sh *sheet.Sheet) (*curve.Curve, error) {
	if err := regular(o.lever); err != nil {
		return nil, err
	}
	f, err := os.Open(o.lever)
	if err != nil {
		return nil, fmt.Errorf("--lever %s: %w", o.lever, bare(err))
	}
	defer f.Close()
	c, err := engine.Worked(sh, o.lever, f, o.seconds, o.seed)
	if err != nil {
		return nil, err
	}
	if d := c.DurationS(); !(d > 0 && d <= maxSeconds) {
		return nil, fmt.Errorf("%s: lasts %g s; a render must last above 0 and at most %d s", o.lever, d, maxSeconds)
	}
	return c, nil
}

// wellKnown is the share of a recording in which an engine should be found.
const wellKnown = 0.8

// trackWarnings names recordings of which much is lost to the note.
func trackWarnings(facts []engine.Fact) []string {
	var out []string
	for _, f := range facts {
		if f.FoundS < wellKnown*f.LengthS {
			out = append(out, fmt.Sprintf("%s: an engine was found in %.0f %% of it only; check its rpm, rpm_from and rpm_to, and listen to the rest", f.Name, 100*f.FoundS/f.LengthS))
		}
	}
	return out
}

// rangeWarnings says where a curve leaves idle..redline or the bank's reach.
func rangeWarnings(c *curve.Curve, idle, redline, reachLo, reachHi, heldS float64) []string {
	var out []string
	lo, hi := c.RangeRPM()
	// An idling engine hunts and a limiter overshoots by a few percent.
	if lo < 0.97*idle || hi > 1.03*redline {
		out = append(out, fmt.Sprintf("the revs asked for, %.0f to %.0f RPM, leave idle to redline, %.0f to %.0f RPM", lo, hi, idle, redline))
	}
	if heldS > 0 {
		out = append(out, fmt.Sprintf("for %.2f s the revs asked for lie beyond what the recordings can give, %.0f to %.0f RPM; the note was held there", heldS, math.Ceil(reachLo), math.Floor(reachHi)))
	}
	return out
}
