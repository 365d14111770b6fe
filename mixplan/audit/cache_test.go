package audit

import (
	"context"
	"crypto/sha256"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"tachbench/analysis/defect"
	"tachbench/samples/tone"
)

func entriesIn(t testing.TB, dir string) (out []string) {
	t.Helper()
	_ = filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err == nil && !d.IsDir() {
			out = append(out, path)
		}
		return nil
	})
	return out
}

// told is a result as text, to the last bit of every number.
func told(t testing.TB, r *Result) string {
	t.Helper()
	b, err := pack(struct {
		Sounds []Sound
		Text   string
	}{r.Sounds, ""})
	if err != nil {
		t.Fatal(err)
	}
	c := *r
	c.Sheet = nil
	return string(b) + describe(&c)
}

// Cold, warm, without, two at once, and with every entry spoilt: the same.
func TestCacheChangesNothing(t *testing.T) {
	dir := makeDepot(t)
	for _, charts := range []bool{false, true} {
		at := filepath.Join(t.TempDir(), "cache")
		in, opt := Inputs{Paths: []string{dir}}, Options{Charts: charts, CacheDir: at}
		want := told(t, run(t, in, Options{Charts: charts}))
		check := func(when string) {
			t.Helper()
			if told(t, run(t, in, opt)) != want {
				t.Errorf("charts %v, %s: another result", charts, when)
			}
		}
		check("cold")
		files := entriesIn(t, at)
		if len(files) != 7 {
			t.Fatalf("%d entries of 7 sounds", len(files))
		}
		check("warm")
		for i, f := range files {
			data, err := os.ReadFile(f)
			if err != nil {
				t.Fatal(err)
			}
			switch i % 3 {
			case 0:
				data[len(data)/2] ^= 4
			case 1:
				data = data[:len(data)/2]
			case 2:
				data = nil
			}
			if err := os.WriteFile(f, data, 0o600); err != nil {
				t.Fatal(err)
			}
		}
		check("spoilt")
		check("mended")
		if err := os.RemoveAll(at); err != nil {
			t.Fatal(err)
		}
		var wg sync.WaitGroup
		for range 3 {
			wg.Add(1)
			go func() {
				defer wg.Done()
				if r, err := Run(context.Background(), in, opt); err != nil || told(t, r) != want {
					t.Errorf("at once: %v", err)
				}
			}()
		}
		wg.Wait()
		// A file where the folder should be: no cache, no error.
		opt.CacheDir = putText(t, t.TempDir(), "file", "mine")
		check("no folder")
	}
}

// An entry is used, which a measurement would not show: one whose content was
// exchanged with all sums right is believed.
func TestCacheIsUsed(t *testing.T) {
	dir, at := t.TempDir(), t.TempDir()
	path := put(t, dir, "a.wav", faded(1, 440, -12))
	c := openCache(at)
	if c == nil {
		t.Fatal("no cache")
	}
	e := entry{path: path, category: "x"}
	s, err := c.measured(context.Background(), e, false, func(float64) {})
	if err != nil {
		t.Fatal(err)
	}
	sum, _ := contentSum(context.Background(), path)
	s.EdgeHz = 12345
	c.store(c.key(sum, e, false), s)
	moved := e
	moved.path = put(t, dir, "b.wav", faded(1, 440, -12))
	got, err := c.measured(context.Background(), moved, false, func(float64) {})
	if err != nil || got.EdgeHz != 12345 || got.Path != moved.path || got.content != s.content {
		t.Errorf("%v %+v", err, got)
	}
	// Whatever a measurement depends on makes another key.
	key := c.key(sum, e, false)
	lead, err := optionsWith("lead_s", 0.5)
	if err != nil {
		t.Fatal(err)
	}
	other := e
	other.opt = lead
	kind := e
	kind.opt.Kind++
	loop := e
	loop.opt.WholeLoop = true
	machine := e
	machine.machine.RateHz = 44100
	category := e
	category.category = "y"
	newer, program := &cache{}, &cache{}
	self, _ := programSum()
	newer.salt = saltOf(cacheFormat+1, self)
	program.salt = saltOf(cacheFormat, sha256.Sum256(self[:]))
	sum2 := sum
	sum2[0] ^= 1
	keys := map[string]bool{key: true}
	for _, k := range []string{c.key(sum2, e, false), c.key(sum, e, true), c.key(sum, other, false), c.key(sum, kind, false), c.key(sum, loop, false),
		c.key(sum, machine, false), c.key(sum, category, false), newer.key(sum, e, false), program.key(sum, e, false)} {
		if keys[k] {
			t.Error("two keys alike")
		}
		keys[k] = true
	}
}

// A change of one byte of a file or of a limit in the sheet shows at once.
func TestCacheSeesChanges(t *testing.T) {
	dir, at := makeDepot(t), t.TempDir()
	in, opt := Inputs{Paths: []string{dir}}, Options{CacheDir: at}
	run(t, in, opt)
	path := filepath.Join(dir, "callouts", "right.wav")
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	st, _ := os.Stat(path)
	data[len(data)/2+1] = 0x7F
	if err := os.WriteFile(path, data, 0o644); err != nil {
		t.Fatal(err)
	}
	// Same length, same time: only the content tells.
	if err := os.Chtimes(path, st.ModTime(), st.ModTime()); err != nil {
		t.Fatal(err)
	}
	if s := soundAt(t, run(t, in, opt), "right.wav"); !has(s.Findings, "click") && !has(s.Findings, "true-peak-over") {
		t.Errorf("%v", rules(s.Findings))
	}
	putText(t, dir, "soundsheet.toml", strings.Replace(depot, "lead_s = 0.5", "lead_s = 0.1", 1))
	if s := soundAt(t, run(t, in, opt), "late.wav"); !has(s.Findings, "starts-late") {
		t.Errorf("%v", rules(s.Findings))
	}
}

func TestCacheBound(t *testing.T) {
	dir, at := t.TempDir(), t.TempDir()
	for i := range 4 {
		put(t, dir, string(rune('a'+i))+".wav", tone.White(48000, 1, 0.5, 0.1, uint64(i)))
	}
	run(t, Inputs{Paths: []string{dir}}, Options{CacheDir: at})
	files := entriesIn(t, at)
	var total int64
	for i, f := range files {
		st, _ := os.Stat(f)
		total += st.Size()
		when := time.Now().Add(-time.Duration(10-i) * time.Hour)
		if err := os.Chtimes(f, when, when); err != nil {
			t.Fatal(err)
		}
	}
	mine := putText(t, at, "notes.txt", "mine")
	left := putText(t, at, "00/.new-1", "left")
	old := time.Now().Add(-2 * time.Hour)
	if err := os.Chtimes(left, old, old); err != nil {
		t.Fatal(err)
	}
	c := openCache(at)
	c.trim(total, 0)
	if got := entriesIn(t, at); len(got) != 5 {
		t.Errorf("%v", got)
	}
	c.trim(total-1, total/2)
	if got := strings.Join(entriesIn(t, at), " "); strings.Contains(got, files[0]) || strings.Contains(got, files[1]) ||
		!strings.Contains(got, files[2]) || !strings.Contains(got, files[3]) || !strings.Contains(got, mine) {
		t.Errorf("%v", got)
	}
}

func FuzzUnpack(f *testing.F) {
	b, err := pack(record{Sound{Path: "x"}, "y"})
	if err != nil {
		f.Fatal(err)
	}
	f.Add(b)
	f.Fuzz(func(t *testing.T, b []byte) {
		var r record
		if unpack(b, &r) == nil {
			if _, err := pack(r); err != nil {
				t.Error(err)
			}
		}
	})
}

func optionsWith(key string, v float64) (defect.Options, error) {
	return defect.NewOptions(defect.Other, map[string]float64{key: v})
}
