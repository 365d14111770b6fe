package file

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math/rand/v2"
	"os"
	"path/filepath"

	"tachbench/samples"
	"tachbench/samples/wav"
)

// tempFile is what an Output needs of *os.File; tests put a failing one in.
type tempFile interface {
	io.Writer
	io.Seeker
	io.WriterAt
	Name() string
	Sync() error
	Close() error
}

// createTemp makes a new file beside path, under a name that no glob for
// sound files catches and that the umask, not us, decides the mode of.
var createTemp = func(path string) (tempFile, error) {
	dir, base := filepath.Split(path)
	for range 100 {
		name := filepath.Join(dir, fmt.Sprintf(".%s.%08x.part", base, rand.Uint32()))
		f, err := os.OpenFile(name, os.O_RDWR|os.O_CREATE|os.O_EXCL, 0o666)
		if !errors.Is(err, fs.ErrExist) {
			return f, err
		}
	}
	return nil, fs.ErrExist
}

// Output is a file being written under a temporary name in the folder of the
// final one. Defer Abort right after Create: it does nothing after Commit. An
// interruption can at most leave a file whose name begins with a dot and ends
// in .part.
type Output struct {
	path  string
	force bool
	f     tempFile
	done  bool
}

// Create begins a result that will be called path. Unless force is set, an
// existing path is refused with *ExistsError, and once more by Commit if it
// appeared meanwhile. A folder that cannot be written to gives
// *EnvironmentError; a missing folder, or a path that is a folder or device,
// a plain error.
func Create(path string, force bool) (*Output, error) {
	st, err := os.Lstat(path)
	switch {
	case err == nil && st.IsDir():
		return nil, fmt.Errorf("%s: is a folder, a file name is wanted", path)
	case err == nil && !st.Mode().IsRegular() && st.Mode()&fs.ModeSymlink == 0:
		// Renaming would replace the device itself.
		return nil, fmt.Errorf("%s: is not a regular file and is not replaced", path)
	case err == nil && !force:
		return nil, &ExistsError{path}
	case path == "" || os.IsPathSeparator(path[len(path)-1]):
		return nil, fmt.Errorf("%q: a file name is wanted", path)
	}
	f, err := createTemp(path)
	// Some file systems that take no files, such as /proc, say the same of a
	// folder that is there.
	if _, gone := os.Stat(filepath.Dir(path)); errors.Is(err, fs.ErrNotExist) && gone != nil {
		return nil, fmt.Errorf("%s: the folder %s does not exist", path, filepath.Dir(path))
	}
	if err != nil {
		return nil, &EnvironmentError{path, "create", bare(err)}
	}
	o := &Output{path: path, force: force, f: f}
	if of, ok := f.(*os.File); ok && st != nil && st.Mode().IsRegular() {
		_ = of.Chmod(st.Mode().Perm()) // a replaced file keeps its mode where that can be had
	}
	return o, nil
}

// Path returns the final name.
func (o *Output) Path() string { return o.path }

func (o *Output) environment(op string, err error) error {
	if err == nil {
		return nil
	}
	return &EnvironmentError{o.path, op, bare(err)}
}

// Write, WriteAt and Seek are those of the temporary file; their errors are
// *EnvironmentError.
func (o *Output) Write(b []byte) (int, error) {
	n, err := o.f.Write(b)
	return n, o.environment("write", err)
}

// WriteAt implements io.WriterAt.
func (o *Output) WriteAt(b []byte, off int64) (int, error) {
	n, err := o.f.WriteAt(b, off)
	return n, o.environment("write", err)
}

// Seek implements io.Seeker.
func (o *Output) Seek(off int64, whence int) (int64, error) {
	n, err := o.f.Seek(off, whence)
	return n, o.environment("write", err)
}

// Commit brings everything to the disk and then gives it its final name. On
// an error nothing has appeared and the temporary file is gone.
func (o *Output) Commit() error {
	if o.done {
		return fmt.Errorf("%s: Commit after the end", o.path)
	}
	defer o.Abort()
	if err := o.f.Sync(); err != nil {
		return o.environment("write", err)
	}
	o.done = true
	defer os.Remove(o.f.Name()) // already renamed where all went well
	if err := o.f.Close(); err != nil {
		return o.environment("write", err)
	}
	if err := o.publish(); err != nil {
		return err
	}
	// So that the name survives a power cut; not every system can.
	if dir, err := os.Open(filepath.Dir(o.path)); err == nil {
		_ = dir.Sync()
		_ = dir.Close()
	}
	return nil
}

// publish moves the temporary file to its name. Without force a hard link is
// tried first: it fails if the name was taken meanwhile, a rename would not.
func (o *Output) publish() error {
	if !o.force {
		err := os.Link(o.f.Name(), o.path)
		if err == nil {
			return nil
		}
		if _, statErr := os.Lstat(o.path); errors.Is(err, fs.ErrExist) || statErr == nil {
			return &ExistsError{o.path}
		}
	}
	return o.environment("create", os.Rename(o.f.Name(), o.path))
}

// Abort throws the temporary file away. After Commit or Abort it does nothing.
func (o *Output) Abort() {
	if o.done {
		return
	}
	o.done = true
	_ = o.f.Close()
	_ = os.Remove(o.f.Name())
}

// WriteBytes writes b as a whole file, or nothing.
func WriteBytes(path string, b []byte, force bool) error {
	o, err := Create(path, force)
	if err != nil {
		return err
	}
	defer o.Abort()
	if _, err := o.Write(b); err != nil {
		return err
	}
	return o.Commit()
}

// WriteSound writes s as a whole WAV file, or nothing. Zero RateHz, Channels,
// Mask and Frames of spec are taken from s.
func WriteSound(path string, s *samples.Sound, spec wav.Spec, force bool) error {
	whole := wav.SpecOf(s, spec.BitDepth)
	if spec.RateHz == 0 {
		spec.RateHz = whole.RateHz
	}
	if spec.Channels == 0 {
		spec.Channels = whole.Channels
	}
	if spec.Mask == 0 {
		spec.Mask = whole.Mask
	}
	if spec.BitDepth == 32 {
		spec.Float = true
	}
	o, err := Create(path, force)
	if err != nil {
		return err
	}
	defer o.Abort()
	if err := wav.Encode(o, s, spec); err != nil {
		var ee *EnvironmentError
		if errors.As(err, &ee) {
			return err
		}
		return fmt.Errorf("%s: %w", path, err)
	}
	return o.Commit()
}
