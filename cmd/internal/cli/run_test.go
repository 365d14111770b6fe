package cli

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"reflect"
	"runtime/debug"
	"strings"
	"syscall"
	"testing"
	"time"

	"tachbench/analysis/tacho"
	"tachbench/samples/file"
)

func TestExitStatus(t *testing.T) {
	full := &file.EnvironmentError{Path: "note.wav", Op: "write", Err: syscall.ENOSPC}
	for _, c := range []struct {
		err  error
		want int
	}{
		{nil, 0},
		{errFindings, 1},
		{fmt.Errorf("audit: %w", errFindings), 1},
		{errors.New("strokes must be 2 or 4"), 2},
		{fs.ErrNotExist, 2},
		{&file.ExistsError{Path: "note.wav"}, 2},
		{full, 3},
		{fmt.Errorf("render: %w", full), 3},
		{reportedError{errors.Join(fs.ErrNotExist, full)}, 3},
		{outError(syscall.ENOSPC), 3},
		{context.Canceled, 130},
		{fmt.Errorf("render: %w", context.Canceled), 130},
	} {
		if got := exitStatus(c.err); got != c.want {
			t.Errorf("%v: %d, want %d", c.err, got, c.want)
		}
	}
}

// Flags → options, with the run function replaced.
func TestTachoOptions(t *testing.T) {
	for _, c := range []struct {
		args string
		want tachoOptions
	}{
		{"", tachoOptions{files: []string{}}},
		{"a.wav b.wav --cylinders 2 --strokes 4 --firing-angles 0,315", tachoOptions{files: []string{"a.wav", "b.wav"}, cylinders: 2, strokes: 4, angles: []float64{0, 315}}},
		{"--sheet s.toml --json --force --plot-log", tachoOptions{files: []string{}, sheet: "s.toml", json: true, force: true, logHz: true}},
		{"x.wav --rpm-from 1500 --rpm-to 8e3 --csv x.csv --plot x.svg", tachoOptions{files: []string{"x.wav"}, fromRPM: 1500, toRPM: 8000, csv: "x.csv", plot: "x.svg"}},
		{"--json -- --odd.wav", tachoOptions{files: []string{"--odd.wav"}, json: true}},
	} {
		var got tachoOptions
		cmd := newTacho(Streams{}, func(_ context.Context, _ Streams, o tachoOptions) error {
			got = o
			return nil
		})
		cmd.SetArgs(strings.Fields(c.args))
		if err := cmd.Execute(); err != nil || !reflect.DeepEqual(got, c.want) {
			t.Errorf("%q: %+v %v, want %+v", c.args, got, err, c.want)
		}
	}
}

func TestFlagHints(t *testing.T) {
	for _, c := range []struct {
		from, to float64
		want     tacho.Options
	}{
		{0, 0, tacho.Options{}},
		{2000, 8000, tacho.Options{MinRPM: 1800, MaxRPM: 8800}},
		{8000, 2000, tacho.Options{MinRPM: 1800, MaxRPM: 8800}}, // a coast-down
		{2000, 0, tacho.Options{MinRPM: 1800, MaxRPM: tacho.HighestRPM}},
		{0, 5000, tacho.Options{MinRPM: tacho.LowestRPM, MaxRPM: 5500}},
		{25000, 0, tacho.Options{MinRPM: 22500, MaxRPM: 30000}},
		{60, 30000, tacho.Options{MinRPM: 60, MaxRPM: 30000}},
	} {
		got, err := flagHints(c.from, c.to)
		near := func(a, b float64) bool { return a-b < 1e-6 && b-a < 1e-6 }
		if err != nil || !near(got.MinRPM, c.want.MinRPM) || !near(got.MaxRPM, c.want.MaxRPM) {
			t.Errorf("%g to %g: %+v %v, want %+v", c.from, c.to, got, err, c.want)
		}
	}
	for _, bad := range [][2]float64{{59, 0}, {0, 30001}, {-1, 5000}} {
		if _, err := flagHints(bad[0], bad[1]); err == nil {
			t.Errorf("%v: no error", bad)
		}
	}
}

func TestInterrupted(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	var out, errs bytes.Buffer
	got := Run(ctx, strings.Fields("tacho x.wav --cylinders 2 --strokes 2"), Streams{Out: &out, Err: &errs})
	if got != 130 || errs.String() != "tachbench: interrupted\n" || out.Len() > 0 {
		t.Errorf("status %d, stderr %q, stdout %q", got, errs.String(), out.String())
	}
}

// Work that cannot be stopped must not keep the user waiting.
func TestAttendReturnsAtOnce(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	release := make(chan struct{})
	defer close(release)
	time.AfterFunc(10*time.Millisecond, cancel)
	if err := attend(ctx, func() error { <-release; return nil }); !errors.Is(err, context.Canceled) {
		t.Error(err)
	}
	if err := attend(context.Background(), func() error { return os.ErrInvalid }); err != os.ErrInvalid {
		t.Error(err)
	}
}

// A file name must not be able to move the cursor or forge a second line.
func TestOneLinePerError(t *testing.T) {
	var errs bytes.Buffer
	Run(context.Background(), []string{"tacho", "a\x1b[2J\r\nb.wav", "--cylinders", "2", "--strokes", "2"}, Streams{Out: &bytes.Buffer{}, Err: &errs})
	if got, want := errs.String(), "tachbench: a?[2J??b.wav: file does not exist\n"; got != want {
		t.Errorf("%q, want %q", got, want)
	}
}

func TestDescribeBuild(t *testing.T) {
	for _, c := range []struct {
		info debug.BuildInfo
		want string
	}{
		{debug.BuildInfo{GoVersion: "go1.26.8", Main: debug.Module{Version: "v1.2.3"}}, "v1.2.3 go1.26.8"},
		{debug.BuildInfo{GoVersion: "go1.26.8", Settings: []debug.BuildSetting{{Key: "vcs.revision", Value: "0123456789abcdef"}, {Key: "vcs.modified", Value: "true"}}},
			"(devel) commit 0123456789ab, with local changes go1.26.8"},
	} {
		if got := describe(&c.info); got != c.want {
			t.Errorf("%q, want %q", got, c.want)
		}
	}
}

// Every command has an example that its own flags accept, and help that fits
// a terminal.
func TestHelp(t *testing.T) {
	for _, cmd := range newRoot(Streams{}).Commands() {
		if cmd.Name() == "help" || cmd.Name() == "completion" {
			continue
		}
		if cmd.Short == "" || cmd.Long == "" || cmd.Example == "" {
			t.Errorf("%s: Short, Long and Example are wanted", cmd.Name())
		}
		for line := range strings.Lines(cmd.Example) {
			words := strings.Fields(line)
			if len(words) < 2 || words[0] != "tachbench" || words[1] != cmd.Name() {
				t.Errorf("%s: example %q", cmd.Name(), line)
				continue
			}
			if err := cmd.ParseFlags(words[2:]); err != nil {
				t.Errorf("%s: example %q: %v", cmd.Name(), line, err)
			}
		}
		for line := range strings.Lines(cmd.UsageString() + cmd.Long) {
			if n := len([]rune(line)); n > 81 {
				t.Errorf("%s: %d columns: %s", cmd.Name(), n, line)
			}
		}
	}
}
