package cli

import (
	"context"
	"errors"

	"tachbench/samples/file"
)

// Exit statuses, as the contract names them.
const (
	exitDone        = 0
	exitFindings    = 1   // findings at or above the chosen severity
	exitInput       = 2   // bad input or usage
	exitEnvironment = 3   // disk full, no sound device
	exitInterrupted = 130 // 128 + SIGINT, the shell's habit
)

// errFindings ends a command that did its work and found something. Its
// report has been printed, so nothing more is.
var errFindings = errors.New("there are findings")

// environmentError is a failure that better input would not cure.
type environmentError struct{ err error }

func (e environmentError) Error() string { return e.err.Error() }
func (e environmentError) Unwrap() error { return e.err }

// reportedError ends a command whose errors have been printed, each where it
// arose.
type reportedError struct{ err error }

func (e reportedError) Error() string { return e.err.Error() }
func (e reportedError) Unwrap() error { return e.err }

// exitStatus maps the kind of an error to the exit status. What is not
// known to be something else is the input's fault.
func exitStatus(err error) int {
	var env environmentError
	var written *file.EnvironmentError
	switch {
	case err == nil:
		return exitDone
	case errors.Is(err, context.Canceled):
		return exitInterrupted
	case errors.As(err, &env), errors.As(err, &written):
		return exitEnvironment
	case errors.Is(err, errFindings):
		return exitFindings
	}
	return exitInput
}

// silent reports whether nothing is left to say about err.
func silent(err error) bool {
	var said reportedError
	return errors.As(err, &said) || errors.Is(err, errFindings)
}
