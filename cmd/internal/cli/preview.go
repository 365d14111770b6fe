package cli

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"
	"golang.org/x/term"

	"tachbench/cmd/internal/play"
	"tachbench/mixplan"
	"tachbench/mixplan/ear"
	"tachbench/mixplan/engine"
	"tachbench/mixplan/listen"
	"tachbench/mixplan/scene"
	"tachbench/samples/sheet"
	"tachbench/synth/revs"
)

// previewOptions is what the flags of preview say.
type previewOptions struct {
	sheet   string
	scene   string
	note    bool
	plan    string
	seed    uint64
	volume  float64
	to      string
	seconds float64
	lever   string
	loop    bool
	hall    bool
	cabinet bool
	force   bool

	secondsGiven bool
}

func newPreview(s Streams, run func(context.Context, Streams, previewOptions) error) *cobra.Command {
	o := previewOptions{volume: listen.StartVolumeDB}
	cmd := &cobra.Command{
		Use:   "preview SHEET [--scene NAME | --note]",
		Short: "Hear it on headphones, with a hand on the lever",
		Long: `Plays the engine note or a scene of the sheet through the sound device, with
the lever, the scenes, planned or plain, hall and cabinet on plain keys and a
line of figures below. Without --scene and --note: the note if the sheet has
an engine, else its first scene. With --plan scenes are heard as planned; a
key flips to plain, equally loud, so that the ear compares the mix and not
the level.

Outside of a terminal it plays the scene once, or --seconds, and ends. --to
records what would have been heard and needs no device.

It starts quiet and never gets louder than a ceiling of ` + fmt.Sprint(listen.StartCeilingDBTP) + ` dBTP. Turn your
headphones down before you begin.`,
		Example: `  tachbench preview soundsheet.toml
  tachbench preview soundsheet.toml --scene launch --plan plan.toml --hall
  tachbench preview soundsheet.toml --lever presses.csv --to heard.wav`,
		Args: atMostOne,
		RunE: func(cmd *cobra.Command, args []string) error {
			if len(args) == 1 {
				o.sheet = args[0]
			}
			o.secondsGiven = cmd.Flags().Changed("seconds")
			return run(cmd.Context(), s, o)
		},
	}
	f := cmd.Flags()
	f.SortFlags = false
	f.StringVar(&o.scene, "scene", "", "begin with the scene of this `NAME`")
	f.BoolVar(&o.note, "note", false, "begin with the engine note, worked by the lever")
	f.StringVar(&o.plan, "plan", "", "trims, ducks and bus gain from `FILE.toml`")
	f.Var(seedValue{&o.seed}, "seed", "`NUMBER` that decides the choice of cycles")
	f.Var(numberValue{&o.volume, "DB"}, "volume", fmt.Sprintf("headphone volume to begin with,\n%d to 0 dB", listen.LowestVolumeDB))
	f.StringVar(&o.to, "to", "", "record what would have been heard, 32-bit float,\ninto `FILE.wav`; no device is used")
	f.Var(numberValue{&o.seconds, "S"}, "seconds", "play for so long, then end")
	f.StringVar(&o.lever, "lever", "", "work the lever from `FILE.csv`, rows of\ntime_s,pressed (0..1)")
	f.BoolVar(&o.loop, "loop", false, "begin the scene again at its end")
	f.BoolVar(&o.hall, "hall", false, "in the noise of the hall")
	f.BoolVar(&o.cabinet, "cabinet", false, "through the cabinet's speaker")
	f.BoolVar(&o.force, "force", false, "replace a file that exists")
	return cmd
}

// previewJob is what is to be heard, with its inputs read and checked.
type previewJob struct {
	o           previewOptions
	sh          *sheet.Sheet
	plan        *mixplan.Plan // nil: plain only
	lever       *revs.Lever   // nil: no file
	scene       string        // empty: the note
	interactive bool          // a person at a terminal has the keys
}

func runPreview(ctx context.Context, s Streams, o previewOptions) error {
	j := &previewJob{o: o, interactive: o.to == "" && terminal(s.In)}
	if err := j.read(); err != nil {
		return err
	}
	var dev *play.Device
	if o.to == "" {
		// First, so that a missing device is said at once.
		var err error
		if dev, err = play.Open(j.sh.SampleRateHz); err != nil {
			return environmentError{fmt.Errorf("%w; --to FILE.wav records without one", err)}
		}
		defer dev.Close()
	}
	sayWarnings(s, j.sh)
	var p *programme
	err := attend(ctx, func() (err error) {
		p, err = j.prepare(ctx, s)
		return err
	})
	if err != nil {
		return err
	}
	if o.to != "" {
		return j.record(ctx, s, p)
	}
	return j.listen(ctx, s, p, dev)
}

// terminal reports whether a stream is one.
func terminal(stream any) bool {
	f, ok := stream.(*os.File)
	return ok && term.IsTerminal(int(f.Fd()))
}

// check looks at the flags alone.
func (o previewOptions) check() error {
	switch {
	case o.sheet == "":
		return errors.New("preview: no sheet; name one, such as soundsheet.toml")
	case o.scene != "" && o.note:
		return errors.New("preview: --scene and --note exclude each other; give one")
	case !(o.volume >= listen.LowestVolumeDB && o.volume <= 0):
		return fmt.Errorf("--volume %g: must be %d to 0 dB", o.volume, listen.LowestVolumeDB)
	case o.secondsGiven && !(o.seconds >= minSeconds && o.seconds <= maxSeconds):
		return fmt.Errorf("--seconds %g: must be %g to %d", o.seconds, minSeconds, maxSeconds)
	case o.note && o.loop:
		return errors.New("preview: --loop goes with a scene, not with the note")
	case o.to != "" && !strings.EqualFold(filepath.Ext(o.to), ".wav"):
		return fmt.Errorf("--to %s: its name must end in .wav", o.to)
	}
	return nil
}

// read reads all inputs but the sounds and refuses what cannot be done.
func (j *previewJob) read() error {
	o := j.o
	if err := o.check(); err != nil {
		return err
	}
	var err error
	if j.sh, err = loadSheet(o.sheet); err != nil {
		return err
	}
	if o.plan != "" {
		if j.plan, err = mixplan.Load(o.plan); err != nil {
			return err
		}
		if err := j.plan.Fit(j.sh); err != nil {
			return err
		}
	}
	if o.lever != "" {
		if j.lever, err = readLever(o.lever); err != nil {
			return err
		}
	}
	if err := j.choose(); err != nil {
		return err
	}
	if o.to == "" {
		return nil
	}
	inputs := []string{o.sheet, o.plan, o.lever}
	for _, p := range j.sh.Used() {
		inputs = append(inputs, p.Abs)
	}
	return checkOutput("--to", o.to, inputs, o.force)
}

func readLever(path string) (*revs.Lever, error) {
	if err := regular(path); err != nil {
		return nil, err
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("--lever %s: %w", path, bare(err))
	}
	defer f.Close()
	l, err := revs.ParseLever(f, path)
	return &l, err
}

// choose decides what is heard first, and that it comes to an end where
// nobody is there to end it.
func (j *previewJob) choose() error {
	o, sh := j.o, j.sh
	if (o.note || o.lever != "") && sh.Engine == nil {
		return fmt.Errorf("%s: no [engine] in this sheet; a note needs one with recordings", o.sheet)
	}
	j.scene = o.scene
	if j.scene == "" && sh.Engine == nil {
		if len(sh.Scenes) == 0 {
			return fmt.Errorf("%s: neither an [engine] nor a [[scene]] in this sheet; there is nothing to hear", o.sheet)
		}
		j.scene = sh.Scenes[0].Name
	}
	if j.scene != "" && !slices.ContainsFunc(sh.Scenes, func(s sheet.Scene) bool { return s.Name == j.scene }) {
		_, err := scene.Build(sh, scene.NewLibrary(sh.SampleRateHz), j.scene)
		return err // has the words for it
	}
	switch {
	case j.scene == "" && o.loop:
		return errors.New("preview: --loop goes with a scene; " + sceneNames(sh))
	case j.interactive || o.secondsGiven:
	case j.scene != "" && o.loop:
		return errors.New("preview: --seconds is missing; without a terminal a loop needs an end")
	case j.scene == "" && j.lever == nil:
		return errors.New("preview: --seconds is missing; without a terminal the note needs an end")
	}
	return nil
}

// afterLeverS is how long the engine runs on after the last row, as in render.
const afterLeverS = 1

// sceneTailS lets the end of a scene through the bench, whose limiter looks
// ahead by 1.7 ms.
const sceneTailS = 0.01

// prepare reads the sounds and makes what is to be heard.
func (j *previewJob) prepare(ctx context.Context, s Streams) (*programme, error) {
	o, sh := j.o, j.sh
	lib := scene.NewLibrary(sh.SampleRateHz)
	var tl *scene.Timeline
	var err error
	if j.scene != "" {
		if tl, err = scene.Build(sh, lib, j.scene); err != nil {
			return nil, err
		}
		for _, w := range tl.Warnings {
			s.complain(fmt.Errorf("warning: %w", w))
		}
	}
	var eng *engine.Engine
	if sh.Engine != nil && (tl == nil || tl.HasEngine() || j.lever != nil || j.interactive) {
		var warnings []error
		eng, warnings, err = engine.Load(sh)
		for _, w := range warnings {
			s.complain(fmt.Errorf("warning: %w", w))
		}
		if err != nil {
			return nil, err
		}
	}
	chain, err := ear.New(sh.Listening)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", sh.File, err)
	}
	volume := o.volume
	if volume == 0 {
		volume = -1e-9 // 0 would be the bench's own start
	}
	b, err := listen.New(listen.Options{Sheet: sh, Engine: eng, Chain: chain, Seed: o.seed, VolumeDB: volume})
	if err != nil {
		return nil, fmt.Errorf("%s: %w", sh.File, err)
	}
	if o.hall || o.cabinet {
		for _, a := range chain.Assumed {
			s.note(a)
		}
	}
	if j.plan != nil {
		if err := b.SetPlan(ctx, j.plan); err != nil {
			return nil, err
		}
		b.Planned(true)
	}
	b.InHall(o.hall)
	b.ThroughCabinet(o.cabinet)
	p := newProgramme(b, lib, sh.SampleRateHz)
	if tl != nil {
		if err := b.Play(ctx, tl, o.loop); err != nil {
			return nil, err
		}
	}
	if j.lever != nil {
		p.work(*j.lever)
	}
	if tl == nil || j.lever != nil {
		b.Drive(listen.ByLever)
	}
	switch {
	case o.secondsGiven:
		p.endAfter(o.seconds)
	case j.interactive:
	case tl != nil:
		p.endAt(tl.Frames + p.frames(sceneTailS))
	default:
		p.endAfter(j.lever.EndS() + afterLeverS)
	}
	return p, nil
}

// words says what is heard.
func (j *previewJob) words() string {
	what := "the engine note"
	if j.scene != "" {
		what = "scene " + j.scene + ", plain"
		if j.plan != nil {
			what = "scene " + j.scene + ", with the plan"
		}
	}
	if j.o.hall {
		what += ", in the hall"
	}
	if j.o.cabinet {
		what += ", through the cabinet"
	}
	return what
}
