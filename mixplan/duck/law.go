package duck

import (
	_ "embed"
	"strings"
)

//go:embed doc.go
var source string

// Law returns the package comment as plain text: the law for people who have
// the program but not its source.
func Law() string {
	var b strings.Builder
	for line := range strings.Lines(source) {
		if !strings.HasPrefix(line, "//") {
			break
		}
		line = strings.TrimSuffix(strings.TrimPrefix(line, "//"), "\n")
		b.WriteString(strings.TrimPrefix(line, " ") + "\n")
	}
	return b.String()
}
