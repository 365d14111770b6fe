// Package demo writes the demonstration package: Snow Depot, an invented
// alley game about a mountain-rescue depot with a two-stroke twin snow sled.
//
// The engine is the stand-in of synth/standin, music and effects are
// generated here from a fixed seed, and the callouts are short clips kept in
// callouts/ (see the README there). The same version writes the same bytes.
package demo

import (
	"bytes"
	"context"
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"runtime"
	"sort"
	"sync"

	"tachbench/analysis/loudness"
	"tachbench/samples"
	"tachbench/samples/file"
	"tachbench/samples/resample"
	"tachbench/samples/wav"
	"tachbench/synth/standin"
)

// SheetName is the sheet's file name in the package.
const SheetName = "soundsheet.toml"

const (
	rateHz = 48000
	depth  = 16
	seed   = 20260104

	// Where the sheet wants the categories to sit.
	musicLUFS   = -23
	calloutLUFS = -19
)

// quiet are three callouts that came in too low, as happens when a voice is
// recorded on another day. The audit finds them, and the plan brings them up.
var quiet = map[string]bool{"extra-sled.flac": true, "storm.flac": true, "too-low.flac": true}

const quietLU = 6

//go:embed soundsheet.toml curves callouts/*.flac
var embedded embed.FS

// item is one file of the package that has to be made.
type item struct {
	path string
	make func() (*samples.Sound, wav.Spec, error)
}

// Write makes the package in folder dir, which must not exist yet unless
// force is set; then it is replaced as a whole. It is written beside dir and
// renamed when complete. step, if not nil, is called after each file with the
// number done and the number of all; from several goroutines, one at a time.
func Write(ctx context.Context, dir string, force bool, step func(done, of int)) error {
	if err := checkTarget(dir, force); err != nil {
		return err
	}
	part, err := os.MkdirTemp(filepath.Dir(filepath.Clean(dir)), ".snow-depot-*.part")
	if err != nil {
		return &file.EnvironmentError{Path: dir, Op: "create", Err: bare(err)}
	}
	defer os.RemoveAll(part)
	if err := os.Chmod(part, 0o755); err != nil {
		return &file.EnvironmentError{Path: dir, Op: "create", Err: bare(err)}
	}
	if err := copyTexts(part); err != nil {
		return err
	}
	items, err := list()
	if err != nil {
		return err
	}
	if err := writeAll(ctx, part, items, step); err != nil {
		return err
	}
	return swap(part, dir, force)
}

// checkTarget refuses a folder that is there already, and anything that is
// not a demo package when replacing one.
func checkTarget(dir string, force bool) error {
	info, err := os.Stat(dir)
	if os.IsNotExist(err) {
		return nil
	}
	if err != nil {
		return fmt.Errorf("%s: %w", dir, bare(err))
	}
	if !info.IsDir() {
		return fmt.Errorf("%s: is a file; name a folder for the demo", dir)
	}
	entries, err := os.ReadDir(dir)
	if err != nil {
		return fmt.Errorf("%s: %w", dir, bare(err))
	}
	if len(entries) == 0 {
		return nil
	}
	ours, _ := os.ReadFile(filepath.Join(dir, SheetName))
	want, _ := embedded.ReadFile(SheetName)
	switch {
	case !force:
		return fmt.Errorf("%s: exists already; name another folder, or --force replaces the demo in it", dir)
	case string(ours) != string(want):
		return fmt.Errorf("%s: holds something else than the demo as it was written; name another folder", dir)
	}
	return onlyOurs(dir)
}

// onlyOurs refuses a folder with files in it that the demo did not write:
// replacing the folder would take them along.
func onlyOurs(dir string) error {
	items, err := list()
	if err != nil {
		return err
	}
	ours := map[string]bool{}
	for _, it := range items {
		ours[it.path] = true
	}
	for _, t := range texts {
		ours[t] = true
	}
	return filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		rel, err := filepath.Rel(dir, path)
		if err != nil {
			return err
		}
		if !ours[filepath.ToSlash(rel)] {
			return fmt.Errorf("%s: the demo did not write this file and would take it along; move it, or name another folder", path)
		}
		return nil
	})
}

// texts are the files of the package that are kept as they are.
var texts = []string{SheetName, "curves/launch.csv", "curves/ride.csv", "curves/presses.csv"}

// swap puts the finished folder in place.
func swap(part, dir string, force bool) error {
	old := part + "-old"
	if _, err := os.Stat(dir); err == nil {
		if err := os.Rename(dir, old); err != nil {
			return &file.EnvironmentError{Path: dir, Op: "replace", Err: bare(err)}
		}
	}
	if err := os.Rename(part, dir); err != nil {
		_ = os.Rename(old, dir)
		return &file.EnvironmentError{Path: dir, Op: "create", Err: bare(err)}
	}
	return os.RemoveAll(old)
}

func copyTexts(part string) error {
	for _, from := range texts {
		b, err := embedded.ReadFile(from)
		if err != nil {
			return err
		}
		to := filepath.Join(part, filepath.FromSlash(from))
		if err := os.MkdirAll(filepath.Dir(to), 0o755); err != nil {
			return &file.EnvironmentError{Path: to, Op: "create", Err: bare(err)}
		}
		if err := file.WriteBytes(to, b, false); err != nil {
			return err
		}
	}
	return nil
}

// writeAll makes the items on all cores.
func writeAll(ctx context.Context, part string, items []item, step func(done, of int)) error {
	var (
		wg    sync.WaitGroup
		mu    sync.Mutex
		first error
		done  int
		next  = make(chan item)
	)
	work := func() {
		for it := range next {
			err := writeOne(part, it)
			mu.Lock()
			done++
			if err != nil && first == nil {
				first = err
			}
			if step != nil {
				step(done, len(items))
			}
			mu.Unlock()
		}
	}
	for range runtime.GOMAXPROCS(0) {
		wg.Go(work)
	}
	for _, it := range items {
		if ctx.Err() != nil {
			break
		}
		next <- it
	}
	close(next)
	wg.Wait()
	if ctx.Err() != nil {
		return ctx.Err()
	}
	return first
}

func writeOne(part string, it item) error {
	s, spec, err := it.make()
	if err != nil {
		return err
	}
	to := filepath.Join(part, filepath.FromSlash(it.path))
	if err := os.MkdirAll(filepath.Dir(to), 0o755); err != nil {
		return &file.EnvironmentError{Path: to, Op: "create", Err: bare(err)}
	}
	return file.WriteSound(to, s, spec, false)
}

// list names everything to be made, the longest work first.
func list() ([]item, error) {
	items := engineItems()
	for i, b := range beds {
		items = append(items, item{"music/" + b.name + ".wav", func() (*samples.Sound, wav.Spec, error) {
			s, err := atLoudness(music(b, rateHz, seed+uint64(i)), musicLUFS)
			return s, wav.Spec{BitDepth: depth, Seed: seed, Loops: []samples.Loop{{Start: 0, End: int64(s.Frames())}}}, err
		}})
	}
	for i, e := range effectRecipes {
		items = append(items, item{"effects/" + e.name + ".wav", func() (*samples.Sound, wav.Spec, error) {
			return effect(e.layers, rateHz, seed+uint64(100+i)), wav.Spec{BitDepth: depth, Seed: seed}, nil
		}})
	}
	clips, err := fs.Glob(embedded, "callouts/*.flac")
	if err != nil {
		return nil, err
	}
	sort.Strings(clips)
	for _, c := range clips {
		items = append(items, item{c[:len(c)-len(".flac")] + ".wav", func() (*samples.Sound, wav.Spec, error) {
			s, err := decode(c)
			return s, wav.Spec{BitDepth: depth, Seed: seed}, err
		}})
	}
	return items, nil
}

// engineItems are the stand-in's recordings: holds and a pull at full load,
// and a coast-down.
func engineItems() []item {
	sled := standin.SnowSled()
	record := func(rpm func(float64) float64, load, seconds float64, n uint64) func() (*samples.Sound, wav.Spec, error) {
		return func() (*samples.Sound, wav.Spec, error) {
			s, _ := standin.Record(sled, rpm, standin.Always(load), seconds, rateHz, 1, seed+n)
			return s, wav.Spec{BitDepth: depth, Seed: seed + n}, nil
		}
	}
	items := []item{
		{"engine/pull.wav", record(standin.Ramp(1500, 8300, 12), 1, 12, 1)},
		{"engine/coast-down.wav", record(standin.Ramp(8300, 1500, 10), 0, 10, 2)},
	}
	for i, rpm := range []int{1650, 2200, 2900, 3800, 4800, 5900, 7200, 8000} {
		n := uint64(10 + i)
		items = append(items, item{fmt.Sprintf("engine/hold-%d.wav", rpm), record(standin.Hold(float64(rpm), n), 1, 4, n)})
	}
	return items
}

// decode reads an embedded callout and brings it to the machine's rate.
func decode(name string) (*samples.Sound, error) {
	b, err := embedded.ReadFile(name)
	if err != nil {
		return nil, err
	}
	r, err := file.OpenReader(name, bytes.NewReader(b), int64(len(b)))
	if err != nil {
		return nil, err
	}
	defer r.Close()
	s := samples.NewSound(r.Info().RateHz, r.Info().Channels, int(r.Info().Frames))
	for at := 0; at < s.Frames(); {
		n, err := r.Read(s.Slice(at, s.Frames()).Chans)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", name, err)
		}
		at += n
	}
	lufs := float64(calloutLUFS)
	if quiet[path.Base(name)] {
		lufs -= quietLU
	}
	return atLoudness(resample.Sound(s, rateHz), lufs)
}

// bare takes the operation and the path off an error of the file system.
func bare(err error) error {
	var pe *fs.PathError
	if errors.As(err, &pe) {
		return pe.Err
	}
	return err
}

// atLoudness scales s to an integrated loudness.
func atLoudness(s *samples.Sound, lufs float64) (*samples.Sound, error) {
	m, err := loudness.New(s.RateHz, s.Channels(), s.Mask)
	if err != nil {
		return nil, err
	}
	m.Write(s.Chans)
	is := m.Result().IntegratedLUFS
	if !is.OK() {
		return nil, fmt.Errorf("demo: a sound is %s", is.Absent)
	}
	g := samples.DBAmplitude(lufs - is.Value)
	for _, ch := range s.Chans {
		for i := range ch {
			ch[i] *= g
		}
	}
	return s, nil
}
