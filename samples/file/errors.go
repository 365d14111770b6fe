package file

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
)

// ErrNotSound says that the content is of no kind tachbench reads.
var ErrNotSound = errors.New("not a sound file tachbench can read (wav, flac, ogg vorbis, mp3)")

// BrokenError says that the headers of a FLAC, Ogg Vorbis or MP3 file are
// damaged, so that not one frame can be had. WAV has wav.FormatError.
type BrokenError struct {
	Format string // "flac", "ogg", "mp3"
	Offset int64  // where in the file, bytes; roughly, where a decoder met it
	Text   string
}

func (e *BrokenError) Error() string {
	return fmt.Sprintf("broken %s at byte %d: %s", e.Format, e.Offset, e.Text)
}

// UnsupportedError says that the file may be sound but is of a kind that is
// not read, such as Ogg Opus.
type UnsupportedError struct{ Text string }

func (e *UnsupportedError) Error() string { return e.Text }

// ExistsError says that a result was not written because its name is taken.
type ExistsError struct{ Path string }

func (e *ExistsError) Error() string { return e.Path + ": exists already; --force replaces it" }

// EnvironmentError says that the machine failed while writing: a full disk, a
// folder that may not be written to. The input is not to blame.
type EnvironmentError struct {
	Path string
	Op   string // "create", "write", ...
	Err  error
}

func (e *EnvironmentError) Error() string {
	return fmt.Sprintf("%s: cannot %s: %v", e.Path, e.Op, e.Err)
}

func (e *EnvironmentError) Unwrap() error { return e.Err }

// bare strips the operation and path that package os puts around an errno:
// the path may be a temporary name nobody knows.
func bare(err error) error {
	var pe *fs.PathError
	var le *os.LinkError
	var se *os.SyscallError
	switch {
	case errors.As(err, &pe):
		return pe.Err
	case errors.As(err, &le):
		return le.Err
	case errors.As(err, &se):
		return se.Err
	}
	return err
}
