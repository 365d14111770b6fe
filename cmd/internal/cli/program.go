package cli

import (
	"os"
	"strings"
)

// program is how to call this program again: by its name, or through
// `go run` when it was started that way and is on nobody's path.
func program() string {
	path, err := os.Executable()
	if err == nil && strings.Contains(path, "go-build") && !strings.HasSuffix(path, ".test") {
		return "go run ./cmd/tachbench"
	}
	return "tachbench"
}
