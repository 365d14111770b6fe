package cli

import (
	"runtime/debug"
	"strings"
)

// version says what was built, from what the Go command wrote into the
// program: the module's version, and the commit of a local build.
func version() string {
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return "unknown"
	}
	return describe(info)
}

func describe(info *debug.BuildInfo) string {
	words := []string{info.Main.Version}
	if words[0] == "" {
		words[0] = "(devel)"
	}
	var revision, dirty string
	for _, s := range info.Settings {
		switch s.Key {
		case "vcs.revision":
			revision = s.Value
		case "vcs.modified":
			if s.Value == "true" {
				dirty = ", with local changes"
			}
		}
	}
	if revision != "" {
		words = append(words, "commit "+revision[:min(12, len(revision))]+dirty)
	}
	return strings.Join(append(words, info.GoVersion), " ")
}
