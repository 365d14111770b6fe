package cli

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"tachbench/cmd/internal/report"
	"tachbench/mixplan"
	"tachbench/mixplan/duck"
	"tachbench/mixplan/engine"
	"tachbench/mixplan/scene"
	"tachbench/samples/file"
	"tachbench/samples/sheet"
)

// mixOptions is what the flags of mix say.
type mixOptions struct {
	sheet   string
	scene   string
	out     string
	plan    string
	plain   bool
	stems   string
	vectors string
	seed    uint64
	json    bool
	force   bool
}

func newMix(s Streams, run func(context.Context, Streams, mixOptions) error) *cobra.Command {
	var o mixOptions
	cmd := &cobra.Command{
		Use:   "mix SHEET --scene NAME --out mix.wav",
		Short: "Render a scene, with the mix plan or without",
		Long: `Renders a scene of the sheet: its sounds at their times, loops without a seam,
the engine note along its curve. With --plan every sound is trimmed and every
category ducked exactly as the game has to do it; with --plain nothing is.
Compare the two by ear, and the figures: sample peak, true peak, integrated
loudness, how often and how far each category was ducked.

A mix over full scale is turned down as a whole, and the gain is said.
--vectors writes the ducking law, with equations, and numbers with which a
game's own implementation of it can be checked.`,
		Example: `  tachbench mix soundsheet.toml --scene launch --plan plan.toml --out launch.wav
  tachbench mix soundsheet.toml --scene launch --plain --out plain.wav
  tachbench mix soundsheet.toml --scene launch --plain --out p.wav --stems stems
  tachbench mix --vectors ducking.json`,
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
	f.StringVar(&o.scene, "scene", "", "the scene's `NAME` in the sheet")
	f.StringVar(&o.out, "out", "", "the mix, a `FILE.wav`")
	f.StringVar(&o.plan, "plan", "", "trims, ducks and bus gain from `FILE.toml`")
	f.BoolVar(&o.plain, "plain", false, "every sound as it is, no ducks")
	f.StringVar(&o.stems, "stems", "", "also each category as it sounds in the mix, 32-bit\nfloat files that add up to it, into `FOLDER`")
	f.Var(seedValue{&o.seed}, "seed", "`NUMBER` that decides the engine's choice of cycles")
	f.StringVar(&o.vectors, "vectors", "", "write the ducking law and its test vectors;\n`FILE.json`")
	f.BoolVar(&o.json, "json", false, "print one JSON document instead of tables")
	f.BoolVar(&o.force, "force", false, "replace files that exist")
	return cmd
}

func runMix(ctx context.Context, s Streams, o mixOptions) error {
	if err := o.check(); err != nil {
		return err
	}
	if o.vectors != "" {
		if err := writeVectors(o.vectors, o.force); err != nil {
			return err
		}
		if o.sheet == "" {
			s.note("wrote " + o.vectors)
			return nil
		}
	}
	sh, err := loadSheet(o.sheet)
	if err != nil {
		return err
	}
	if o.scene == "" {
		return errors.New("mix: --scene is missing; " + sceneNames(sh))
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
	if err := o.checkOutputs(sh); err != nil {
		return err
	}
	sayWarnings(s, sh)
	var result report.Mix
	err = attend(ctx, func() error {
		tl, err := scene.Build(sh, scene.NewLibrary(sh.SampleRateHz), o.scene)
		if err != nil {
			return err
		}
		var eng *engine.Engine
		var warnings []error
		if tl.HasEngine() {
			if eng, warnings, err = engine.Load(sh); err != nil {
				return err
			}
		}
		for _, w := range append(warnings, tl.Warnings...) {
			result.Warnings = append(result.Warnings, w.Error())
		}
		return o.write(ctx, sh, tl, eng, plan, &result)
	})
	if err != nil {
		return err
	}
	if o.vectors != "" {
		result.Written = append(result.Written, o.vectors)
	}
	for _, w := range result.Warnings {
		s.complain(errors.New("warning: " + w))
	}
	if o.json {
		err = report.WriteJSON(s.Out, result.JSON())
	} else {
		err = report.MixText(s.Out, result)
	}
	return outError(err)
}

// check looks at the flags alone.
func (o mixOptions) check() error {
	if o.vectors != "" {
		if !strings.EqualFold(filepath.Ext(o.vectors), ".json") {
			return fmt.Errorf("--vectors %s: its name must end in .json", o.vectors)
		}
		if err := checkOutput("--vectors", o.vectors, nil, o.force); err != nil {
			return err
		}
		if o.sheet == "" && o.out == "" {
			return nil
		}
	}
	switch {
	case o.sheet == "":
		return errors.New("mix: no sheet; name one, such as soundsheet.toml")
	case o.out == "":
		return errors.New("mix: --out is missing; name the file to write, such as --out mix.wav")
	case !strings.EqualFold(filepath.Ext(o.out), ".wav"):
		return fmt.Errorf("--out %s: its name must end in .wav", o.out)
	case o.plan == "" && !o.plain:
		return errors.New("mix: with or without? Give --plan plan.toml or --plain")
	case o.plan != "" && o.plain:
		return errors.New("mix: --plan and --plain exclude each other; give one")
	}
	return nil
}

func sceneNames(sh *sheet.Sheet) string {
	var names []string
	for _, sc := range sh.Scenes {
		names = append(names, sc.Name)
	}
	if len(names) == 0 {
		return sh.File + " has no [[scene]]"
	}
	return sh.File + " has " + strings.Join(names, ", ")
}

// checkOutputs refuses to write over anything the mix is made of.
func (o mixOptions) checkOutputs(sh *sheet.Sheet) error {
	inputs := []string{o.sheet}
	if o.plan != "" {
		inputs = append(inputs, o.plan)
	}
	for _, p := range sh.Used() {
		inputs = append(inputs, p.Abs)
	}
	if err := checkOutput("--out", o.out, inputs, o.force); err != nil {
		return err
	}
	if info, err := os.Stat(o.stems); o.stems != "" && err == nil && !info.IsDir() {
		return fmt.Errorf("--stems %s: is a file; name a folder", o.stems)
	}
	return nil
}

func writeVectors(path string, force bool) error {
	b, err := report.VectorsJSON(duck.Vectors(), duck.DipVectors())
	if err != nil {
		return err
	}
	return file.WriteBytes(path, b, force)
}
