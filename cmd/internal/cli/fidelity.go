package cli

import (
	"context"
	"fmt"

	"github.com/spf13/cobra"

	"tachbench/cmd/internal/report"
	"tachbench/mixplan/engine"
)

// fidelityOptions is what the flags of fidelity say.
type fidelityOptions struct {
	sheet string
	holds int
	json  bool
}

func newFidelity(s Streams, run func(context.Context, Streams, fidelityOptions) error) *cobra.Command {
	o := fidelityOptions{holds: 3}
	cmd := &cobra.Command{
		Use:   "fidelity SHEET",
		Short: "Measure how true the engine note is to its recordings",
		Long: `Renders the note along a sweep and at the revs of some steady recordings, and
measures each render: are the revs right, are there clicks, is the colour that
of a recording left out of the bank, does it repeat itself, does it tremble;
and how fast it is made. Beside each figure stands what two poor notes made
from the same recordings reach: one engine cycle frozen into a loop, and the
nearest recording played faster or slower.

Exit status 1 when a target is missed.`,
		Example: `  tachbench fidelity soundsheet.toml
  tachbench fidelity soundsheet.toml --holds 8 --json`,
		Args: atMostOne,
		RunE: func(cmd *cobra.Command, args []string) error {
			if len(args) == 1 {
				o.sheet = args[0]
			}
			return run(cmd.Context(), s, o)
		},
	}
	f := cmd.Flags()
	f.SortFlags = false
	f.Var(wholeValue{&o.holds, "N"}, "holds", "how many steady recordings to try, spread over\nthe revs")
	f.BoolVar(&o.json, "json", false, "print one JSON document instead of a table")
	return cmd
}

func runFidelity(ctx context.Context, s Streams, o fidelityOptions) error {
	if o.sheet == "" {
		return fmt.Errorf("fidelity: no sheet; name one, such as soundsheet.toml")
	}
	if o.holds < 0 || o.holds > 100 {
		return fmt.Errorf("fidelity: --holds must be 0 to 100, not %d", o.holds)
	}
	sh, err := loadSheet(o.sheet)
	if err != nil {
		return err
	}
	sayWarnings(s, sh)
	var trials []engine.Trial
	var speed engine.Speed
	err = attend(ctx, func() error {
		eng, warnings, err := engine.Load(sh)
		for _, w := range warnings {
			s.complain(fmt.Errorf("warning: %w", w))
		}
		if err != nil {
			return err
		}
		if trials, err = eng.Prove(ctx, sh.Layout(), sh.Engine.IdleRPM, sh.Engine.RedlineRPM, o.holds); err != nil {
			return err
		}
		speed, err = engine.MeasureSpeed(eng.Bank, sh.Layout(), eng.Sources)
		return err
	})
	if err != nil {
		return err
	}
	r := report.NewFidelity(o.sheet, trials, speed)
	if o.json {
		err = report.WriteJSON(s.Out, r.JSON())
	} else {
		err = report.FidelityText(s.Out, r)
	}
	if err != nil {
		return outError(err)
	}
	if r.Missed() > 0 {
		return errFindings
	}
	return nil
}
