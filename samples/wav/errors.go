package wav

import "fmt"

// FormatError says that the bytes are not a whole, readable WAVE file.
type FormatError struct {
	Offset int64 // where in the file, bytes
	Text   string
}

func (e *FormatError) Error() string {
	return fmt.Sprintf("broken wav at byte %d: %s", e.Offset, e.Text)
}

// UnsupportedError says that the file may be sound but is of a kind this
// package does not read, such as ADPCM or big-endian RIFX.
type UnsupportedError struct {
	Offset int64 // where in the file, bytes
	Text   string
}

func (e *UnsupportedError) Error() string {
	return fmt.Sprintf("wav that cannot be read, byte %d: %s", e.Offset, e.Text)
}

// Warning is an oddity of a file that could be read all the same.
type Warning struct {
	Where int64 // byte offset in the file
	Text  string
}

func (w Warning) String() string { return fmt.Sprintf("byte %d: %s", w.Where, w.Text) }

// maxWarnings bounds what a file made of nothing but oddities can cost.
const maxWarnings = 64
