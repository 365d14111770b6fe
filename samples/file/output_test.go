package file

import (
	"errors"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"syscall"
	"testing"

	"tachbench/samples"
	"tachbench/samples/wav"
)

// entries lists a folder, hidden names included.
func entries(t *testing.T, dir string) string {
	t.Helper()
	list, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	for _, e := range list {
		names = append(names, e.Name())
	}
	return strings.Join(names, " ")
}

func TestOutputAppearsWhole(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "note.wav")
	o, err := Create(path, false)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := o.Write([]byte("half")); err != nil {
		t.Fatal(err)
	}
	if names := entries(t, dir); strings.Contains(" "+names, " note.wav") || !strings.HasSuffix(names, ".part") {
		t.Errorf("while writing: %q", names)
	}
	o.Abort()
	if names := entries(t, dir); names != "" {
		t.Errorf("after Abort: %q", names)
	}
	if err := WriteBytes(path, []byte("whole"), false); err != nil {
		t.Fatal(err)
	}
	if b, _ := os.ReadFile(path); string(b) != "whole" || entries(t, dir) != "note.wav" {
		t.Errorf("after Commit: %q, %q", b, entries(t, dir))
	}
	o.Abort() // once more, harmless
	if err := o.Commit(); err == nil {
		t.Error("Commit after Abort went through")
	}
}

func TestExistingIsRefused(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "plan.json")
	if err := os.WriteFile(path, []byte("old"), 0o640); err != nil {
		t.Fatal(err)
	}
	var ee *ExistsError
	if err := WriteBytes(path, []byte("new"), false); !errors.As(err, &ee) || !strings.Contains(err.Error(), "--force") || !strings.HasPrefix(err.Error(), path) {
		t.Errorf("%v", err)
	}
	if b, _ := os.ReadFile(path); string(b) != "old" {
		t.Errorf("it was replaced by %q", b)
	}
	if err := WriteBytes(path, []byte("new"), true); err != nil {
		t.Error(err)
	}
	st, _ := os.Stat(path)
	if b, _ := os.ReadFile(path); string(b) != "new" || runtime.GOOS != "windows" && st.Mode().Perm() != 0o640 {
		t.Errorf("forced: %q with mode %v", b, st.Mode())
	}
	// The name is taken between Create and Commit.
	late := filepath.Join(dir, "late.json")
	o, err := Create(late, false)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(late, []byte("theirs"), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := o.Commit(); !errors.As(err, &ee) {
		t.Errorf("late: %v", err)
	}
	if b, _ := os.ReadFile(late); string(b) != "theirs" || entries(t, dir) != "late.json plan.json" {
		t.Errorf("late: %q in %q", b, entries(t, dir))
	}
}

func TestBadDestinations(t *testing.T) {
	dir := t.TempDir()
	var ee *EnvironmentError
	for name, path := range map[string]string{
		"folder":         dir,
		"missing folder": filepath.Join(dir, "no", "x.wav"),
		"device":         os.DevNull,
		"nothing":        "",
		"slash":          dir + string(filepath.Separator) + "x" + string(filepath.Separator),
	} {
		err := WriteBytes(path, nil, true)
		if err == nil || errors.As(err, &ee) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%s: %v", name, err)
		}
	}
	if st, err := os.Stat(os.DevNull); err != nil || st.Mode().IsRegular() {
		t.Fatal("the null device was replaced")
	}
}

// fullDisk fails at the given step the way a full disk does.
type fullDisk struct {
	*os.File
	room    int
	atSync  bool
	atClose bool
}

func full(op, name string) error { return &fs.PathError{Op: op, Path: name, Err: syscall.ENOSPC} }

func (f *fullDisk) Write(b []byte) (int, error) {
	if f.room -= len(b); f.room < 0 {
		return 0, full("write", f.Name())
	}
	return f.File.Write(b)
}

func (f *fullDisk) Sync() error {
	if f.atSync {
		return full("sync", f.Name())
	}
	return f.File.Sync()
}

func (f *fullDisk) Close() error {
	err := f.File.Close()
	if f.atClose {
		return full("close", f.Name())
	}
	return err
}

func TestFullDisk(t *testing.T) {
	defer func(f func(string) (tempFile, error)) { createTemp = f }(createTemp)
	real := createTemp
	s := samples.NewSound(48000, 2, 200_000)
	for name, disk := range map[string]fullDisk{
		"at once":   {room: 0},
		"in header": {room: 20},
		"later":     {room: 300 << 10},
		"at sync":   {room: math.MaxInt, atSync: true},
		"at close":  {room: math.MaxInt, atClose: true},
	} {
		dir := t.TempDir()
		path := filepath.Join(dir, "note.wav")
		createTemp = func(p string) (tempFile, error) {
			f, err := real(p)
			if err != nil {
				return nil, err
			}
			d := disk
			d.File = f.(*os.File)
			return &d, nil
		}
		err := WriteSound(path, s, wav.Spec{BitDepth: 16}, false)
		var ee *EnvironmentError
		if !errors.As(err, &ee) || !errors.Is(err, syscall.ENOSPC) || !strings.HasPrefix(err.Error(), path+": cannot write: ") || strings.Contains(err.Error(), ".part") {
			t.Errorf("%s: %v", name, err)
		}
		if names := entries(t, dir); names != "" {
			t.Errorf("%s: left behind %q", name, names)
		}
	}
	// An unwritable folder (permissions say nothing to the superuser, so the
	// refusal is put in).
	createTemp = func(p string) (tempFile, error) {
		return nil, &fs.PathError{Op: "open", Path: p, Err: fs.ErrPermission}
	}
	err := WriteBytes(filepath.Join(t.TempDir(), "x"), nil, false)
	var ee *EnvironmentError
	if !errors.As(err, &ee) || !errors.Is(err, fs.ErrPermission) {
		t.Errorf("unwritable: %v", err)
	}
}

// The real thing, where the system has it.
func TestDevFull(t *testing.T) {
	f, err := os.OpenFile("/dev/full", os.O_RDWR, 0)
	if err != nil {
		t.Skipf("no /dev/full here: %v", err)
	}
	o := &Output{path: "x.wav", f: f}
	_, err = o.Write(make([]byte, 10))
	_ = f.Close()
	var ee *EnvironmentError
	if !errors.As(err, &ee) || err.Error() != "x.wav: cannot write: no space left on device" {
		t.Errorf("%v", err)
	}
}

func TestUnwritableFolder(t *testing.T) {
	dir := t.TempDir()
	if err := os.Chmod(dir, 0o500); err != nil {
		t.Fatal(err)
	}
	if f, err := os.Create(filepath.Join(dir, "probe")); err == nil {
		_ = f.Close()
		t.Skip("this user may write everywhere")
	}
	var ee *EnvironmentError
	if err := WriteBytes(filepath.Join(dir, "x"), nil, false); !errors.As(err, &ee) {
		t.Errorf("%v", err)
	}
}

func TestWriteSoundAndLoad(t *testing.T) {
	path := filepath.Join(t.TempDir(), "take.dat") // the extension means nothing
	want := fixtureSounds()["six"]
	spec := wav.Spec{BitDepth: 16, Dither: wav.DitherNone, Loops: []samples.Loop{{Start: 5, End: 500}}}
	if err := WriteSound(path, want, spec, false); err != nil {
		t.Fatal(err)
	}
	s, info, err := Load(path)
	if err != nil || info.Format != "wav" || info.Frames != fixtureFrames || info.Mask != 0x3F || s.Mask != 0x3F || len(info.Loops) != 1 {
		t.Fatalf("%v, %+v", err, info)
	}
	for c := range want.Chans {
		for i, v := range want.Chans[c] {
			if s.Chans[c][i] != v {
				t.Fatalf("channel %d frame %d", c, i)
			}
		}
	}
	// Cut short: the good part and the error together.
	b, _ := os.ReadFile(path)
	if err := os.WriteFile(path, b[:len(b)/2], 0o600); err != nil {
		t.Fatal(err)
	}
	s, info, err = Load(path)
	var te *samples.TruncatedError
	if !errors.As(err, &te) || s == nil || int64(s.Frames()) != te.Got || info.Frames != te.Got || te.Promised != fixtureFrames || !strings.HasPrefix(err.Error(), path+": ") {
		t.Errorf("cut: %v, %+v", err, info)
	}
	if err := WriteSound(filepath.Join(t.TempDir(), "x"), want, wav.Spec{BitDepth: 13}, false); err == nil {
		t.Error("13 bits were written")
	}
}

func TestLoadOfEveryCodec(t *testing.T) {
	for _, name := range []string{"tone.flac", "six.ogg", "mono.mp3"} {
		s, info, err := Load(filepath.Join("testdata", name))
		if err != nil || int64(s.Frames()) != info.Frames || s.Frames() < 5001 {
			t.Errorf("%s: %v, %+v", name, err, info)
		}
	}
}

func TestOpenErrors(t *testing.T) {
	dir := t.TempDir()
	write := func(name, content string) string {
		p := filepath.Join(dir, name)
		if err := os.WriteFile(p, []byte(content), 0o600); err != nil {
			t.Fatal(err)
		}
		return p
	}
	for _, c := range []struct{ path, want string }{
		{filepath.Join(dir, "missing.wav"), "file does not exist"},
		{dir, "is a folder"},
		{os.DevNull, "not a regular file"},
		{write("empty.wav", ""), "the file is empty"},
		{write("text.wav", "this is no sound"), "not a sound file tachbench can read (wav, flac, ogg vorbis, mp3)"},
		{write("short.wav", "RIFF"), "within the RIFF header"},
		{write("a.ogg", "OggS"), "broken ogg"},
		{write("a.flac", "fLaC\x80"), "broken flac"},
		{write("x.wav", "R"), "not a sound file"},
	} {
		_, err := Open(c.path)
		if err == nil || !strings.HasPrefix(err.Error(), c.path+": ") || !strings.Contains(err.Error(), c.want) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%v, want %q", err, c.want)
		}
	}
	p := write("locked.wav", "RIFF")
	if err := os.Chmod(p, 0); err != nil {
		t.Fatal(err)
	}
	if _, err := Open(p); !errors.Is(err, fs.ErrPermission) {
		if f, probe := os.Open(p); probe == nil {
			_ = f.Close()
			t.Skip("this user may read everything")
		}
		t.Errorf("locked: %v", err)
	}
}
