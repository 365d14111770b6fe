package cli

import (
	"fmt"
	"io"
	"os"

	"golang.org/x/term"

	"tachbench/cmd/internal/report"
)

// Streams are the three standard streams, handed in so that tests can look
// at them.
type Streams struct {
	In       io.Reader
	Out, Err io.Writer
}

// complain prints an error on standard error: one line, or one for each of
// several joined errors, such as the problems of a sheet.
func (s Streams) complain(err error) {
	if many, ok := err.(interface{ Unwrap() []error }); ok {
		for _, one := range many.Unwrap() {
			s.complain(one)
		}
		return
	}
	fmt.Fprintln(s.Err, "tachbench: "+report.Printable(err.Error()))
}

// note prints a message on standard error that is no error.
func (s Streams) note(text string) {
	fmt.Fprintln(s.Err, report.Printable(text))
}

// watched reports whether a person sees standard error as it is written:
// only then is there progress.
func (s Streams) watched() bool {
	f, ok := s.Err.(*os.File)
	return ok && term.IsTerminal(int(f.Fd()))
}

// outError marks a failure to write to standard output, which is the
// environment's fault.
func outError(err error) error {
	if err == nil {
		return nil
	}
	return environmentError{fmt.Errorf("cannot write to standard output: %w", err)}
}
