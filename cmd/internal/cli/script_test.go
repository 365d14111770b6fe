package cli

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"

	"tachbench/samples"
	"tachbench/samples/crank"
	"tachbench/samples/tone"
	"tachbench/samples/wav"
)

func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){
		"tachbench": func() { os.Exit(Main()) },
	})
}

// TestScript runs the command line as a user would. Besides the usual words
// of testscript there are:
//
//	sound FILE KIND ARGS...  writes a test sound: engine CYLINDERS STROKES
//	                         FROM_RPM TO_RPM SECONDS | hiss SECONDS | silence SECONDS | empty |
//	                         fine SECONDS | late SECONDS (fine after 0.2 s of silence)
//	status N COMMAND...      runs tachbench and compares its exit status
//	oneline STREAM TEXT      the whole of stdout or stderr is this one line
//	json KEY WANT [TOL]      a value of the JSON on stdout, by path: files.0.rpm_median
//	columns N                stdout is at most N columns wide
func TestScript(t *testing.T) {
	testscript.Run(t, testscript.Params{
		Dir:                 "testdata/script",
		RequireExplicitExec: true,
		RequireUniqueNames:  true,
		Cmds: map[string]func(*testscript.TestScript, bool, []string){
			"sound":   cmdSound,
			"status":  cmdStatus,
			"oneline": cmdOneLine,
			"json":    cmdJSON,
			"columns": cmdColumns,
		},
		Condition: func(cond string) (bool, error) {
			if cond == "superuser" {
				return os.Geteuid() == 0, nil
			}
			return false, fmt.Errorf("unknown condition %q", cond)
		},
	})
}

func need(ts *testscript.TestScript, neg bool, args []string, n int, usage string) {
	if neg || len(args) < n {
		ts.Fatalf("usage: %s", usage)
	}
}

func cmdSound(ts *testscript.TestScript, neg bool, args []string) {
	need(ts, neg, args, 2, "sound FILE KIND ARGS...")
	var v []float64
	for _, a := range args[2:] {
		x, err := strconv.ParseFloat(a, 64)
		ts.Check(err)
		v = append(v, x)
	}
	var s *samples.Sound
	switch kind := args[1]; {
	case kind == "engine" && len(v) == 5:
		s, _ = tone.Engine(tone.EngineSpec{
			Layout: crank.Layout{Cylinders: int(v[0]), Strokes: int(v[1])},
			RPM:    tone.Pull(v[2], v[3], v[4]), DurationS: v[4], SNRDB: 30, Seed: 1,
		})
	case kind == "hiss" && len(v) == 1:
		s = tone.White(48000, 1, v[0], 0.1, 1)
	case kind == "silence" && len(v) == 1:
		s = tone.Silence(48000, 1, v[0])
	case kind == "fine" && len(v) == 1:
		s = fineSound(v[0])
	case kind == "late" && len(v) == 1:
		s = samples.NewSound(48000, 1, int(48000*v[0])+9600)
		copy(s.Chans[0][9600:], fineSound(v[0]).Chans[0])
	case kind == "empty" && len(v) == 0:
		s = samples.NewSound(48000, 1, 0)
	default:
		ts.Fatalf("unknown sound %q", args[1:])
	}
	ts.Check(os.MkdirAll(filepath.Dir(ts.MkAbs(args[0])), 0o755))
	f, err := os.Create(ts.MkAbs(args[0]))
	ts.Check(err)
	ts.Check(wav.Encode(f, s, wav.SpecOf(s, 16)))
	ts.Check(f.Close())
}

// fineSound is a tone that fades in and out, with nothing to be found in it.
func fineSound(seconds float64) *samples.Sound {
	s := tone.Sine(48000, seconds, 440, 0.2, 0)
	x := s.Chans[0]
	for i := range 4800 {
		x[i] *= float64(i) / 4800
		x[len(x)-1-i] *= float64(i) / 4800
	}
	return s
}

func cmdStatus(ts *testscript.TestScript, neg bool, args []string) {
	need(ts, neg, args, 2, "status N COMMAND ARGS...")
	want, err := strconv.Atoi(args[0])
	ts.Check(err)
	got := 0
	if err := ts.Exec(args[1], args[2:]...); err != nil {
		m := regexp.MustCompile(`exit status (\d+)`).FindStringSubmatch(err.Error())
		if m == nil {
			ts.Fatalf("%v", err)
		}
		got, err = strconv.Atoi(m[1])
		ts.Check(err)
	}
	if got != want {
		ts.Fatalf("exit status %d, want %d", got, want)
	}
}

func cmdOneLine(ts *testscript.TestScript, neg bool, args []string) {
	need(ts, neg, args, 2, "oneline STREAM TEXT")
	if got := ts.ReadFile(args[0]); got != args[1]+"\n" {
		ts.Fatalf("%s is\n%swant\n%s", args[0], got, args[1])
	}
}

func cmdJSON(ts *testscript.TestScript, neg bool, args []string) {
	need(ts, neg, args, 2, "json KEY WANT [TOL]")
	d := json.NewDecoder(strings.NewReader(ts.ReadFile("stdout")))
	var v any
	ts.Check(d.Decode(&v))
	if d.More() {
		ts.Fatalf("more than one document on stdout")
	}
	for _, key := range strings.Split(args[0], ".") {
		switch in := v.(type) {
		case map[string]any:
			inner, ok := in[key]
			if !ok {
				ts.Fatalf("no key %q in %s", key, args[0])
			}
			v = inner
		case []any:
			if key == "len" {
				v = float64(len(in))
				continue
			}
			i, err := strconv.Atoi(key)
			ts.Check(err)
			if i >= len(in) {
				ts.Fatalf("%s: only %d entries", args[0], len(in))
			}
			v = in[i]
		default:
			ts.Fatalf("%s: %v has no parts", args[0], v)
		}
	}
	if len(args) == 3 {
		want, err := strconv.ParseFloat(args[1], 64)
		ts.Check(err)
		tol, err := strconv.ParseFloat(args[2], 64)
		ts.Check(err)
		if got, ok := v.(float64); !ok || math.Abs(got-want) > tol {
			ts.Fatalf("%s is %v, want %g within %g", args[0], v, want, tol)
		}
		return
	}
	if got := fmt.Sprint(v); got != args[1] {
		ts.Fatalf("%s is %s, want %s", args[0], got, args[1])
	}
}

func cmdColumns(ts *testscript.TestScript, neg bool, args []string) {
	need(ts, neg, args, 1, "columns N")
	limit, err := strconv.Atoi(args[0])
	ts.Check(err)
	for line := range strings.Lines(ts.ReadFile("stdout")) {
		if n := len([]rune(strings.TrimSuffix(line, "\n"))); n > limit {
			ts.Fatalf("%d columns: %s", n, line)
		}
	}
}

// Every script belongs to a command or to the frame around them.
func TestScriptNames(t *testing.T) {
	files, err := filepath.Glob("testdata/script/*.txtar")
	if err != nil || len(files) == 0 {
		t.Fatal("no scripts", err)
	}
	known := map[string]bool{"usage": true}
	for _, c := range newRoot(Streams{}).Commands() {
		known[c.Name()] = true
	}
	for _, f := range files {
		area, _, _ := strings.Cut(strings.TrimSuffix(filepath.Base(f), ".txtar"), "-")
		if !known[area] {
			t.Errorf("%s: its name must begin with a command", f)
		}
	}
}
