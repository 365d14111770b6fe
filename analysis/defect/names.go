package defect

import (
	"path"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"
)

// refusedRunes may not stand in a name on FAT and exFAT volumes (Microsoft,
// "Naming Files, Paths, and Namespaces", from memory), with all control
// characters.
const refusedRunes = `"*/:<>?\|`

// reservedNames are devices, not files, with or without an extension (same
// source).
var reservedNames = map[string]bool{
	"CON": true, "PRN": true, "AUX": true, "NUL": true,
	"COM1": true, "COM2": true, "COM3": true, "COM4": true, "COM5": true, "COM6": true, "COM7": true, "COM8": true, "COM9": true,
	"LPT1": true, "LPT2": true, "LPT3": true, "LPT4": true, "LPT5": true, "LPT6": true, "LPT7": true, "LPT8": true, "LPT9": true,
}

// CheckNames judges the paths of a package, with "/" between folders: names
// that collide by case, and names that an embedded file system refuses. Each
// part of a path is judged; what is wrong with a folder is said once.
func CheckNames(paths []string, opt Options) []Located {
	paths = slices.Clone(paths)
	slices.Sort(paths)
	paths = slices.Compact(paths)
	var out []Located
	out = append(out, collisions(paths)...)
	said := make(map[string]bool)
	for _, p := range paths {
		for at := p; at != "." && at != "/" && at != ""; at = path.Dir(at) {
			if said[at] {
				break
			}
			said[at] = true
			base := path.Base(at)
			if why, limit := refused(base, int(opt.Limit("name_bytes"))); why != "" {
				r := noReading
				if limit > 0 {
					r = reading{value: float64(len(base)), limit: float64(limit), unit: "bytes"}
				}
				out = append(out, Located{p, found("name-refused", wholeFile, allChannels, r, "The name %s %s.", quoted(base), why)})
				continue
			}
			if i := strings.IndexFunc(base, func(r rune) bool { return r > unicode.MaxASCII }); i >= 0 {
				r, _ := utf8.DecodeRuneInString(base[i:])
				out = append(out, Located{p, found("name-not-plain", wholeFile, allChannels, noReading,
					"The name %s holds %q.", quoted(base), string(r))})
			}
		}
	}
	SortLocated(out)
	return out
}

// refused says why a name cannot be stored, and the limit if it is its length.
func refused(base string, longest int) (why string, limit int) {
	if !utf8.ValidString(base) {
		return "is not valid UTF-8", 0
	}
	for _, r := range base {
		if strings.ContainsRune(refusedRunes, r) {
			return "holds the character " + string(r), 0
		}
		if r < 0x20 || r == 0x7f {
			return "holds a control character", 0
		}
	}
	stem, _, _ := strings.Cut(base, ".")
	switch {
	case base != "." && base != ".." && strings.HasSuffix(base, "."):
		return "ends with a dot", 0
	case strings.HasSuffix(base, " "):
		return "ends with a space", 0
	case strings.HasPrefix(base, " "):
		return "begins with a space", 0
	case reservedNames[strings.ToUpper(strings.TrimRight(stem, " "))]:
		return "is the name of a device", 0
	case len(base) > longest:
		return "is too long", longest
	}
	return "", 0
}

// collisions reports paths that are the same once case is set aside. Folders
// count: "Music/a.wav" and "music/b.wav" become one folder on a FAT card, which
// does no harm, so only whole paths are compared.
func collisions(paths []string) []Located {
	first := make(map[string]string, len(paths))
	var out []Located
	for _, p := range paths {
		key := foldCase(p)
		if q, ok := first[key]; ok {
			out = append(out, Located{p, found("name-collision", wholeFile, allChannels, noReading, "It differs from %s in case only.", quoted(q))})
			continue
		}
		first[key] = p
	}
	return out
}

// foldCase maps every character to the smallest of those that Unicode's simple
// case folding calls equal.
func foldCase(s string) string {
	return strings.Map(func(r rune) rune {
		low := r
		for f := unicode.SimpleFold(r); f != r; f = unicode.SimpleFold(f) {
			low = min(low, f)
		}
		return low
	}, s)
}

// CheckFolder compares the sound files of the package's folder with what the
// sheet uses. Both lists hold paths relative to the same folder.
func CheckFolder(inFolder, inSheet []string) []Located {
	have, used := make(map[string]bool, len(inFolder)), make(map[string]bool, len(inSheet))
	for _, p := range inFolder {
		have[path.Clean(p)] = true
	}
	var out []Located
	for _, p := range inSheet {
		p = path.Clean(p)
		if !have[p] && !used[p] {
			out = append(out, Located{p, found("missing-file", wholeFile, allChannels, noReading, "The sheet names it and there is no such file.%s", nearby(p, inFolder))})
		}
		used[p] = true
	}
	said := make(map[string]bool)
	for _, p := range inFolder {
		p = path.Clean(p)
		if !used[p] && !said[p] {
			said[p] = true
			out = append(out, Located{p, found("unused-file", wholeFile, allChannels, noReading, "It lies in the folder and the sheet never uses it.")})
		}
	}
	SortLocated(out)
	return out
}

// MissingEntry makes a finding of an entry of the sheet that no file goes with.
// place says where the entry is, text what is wrong with it.
func MissingEntry(place, text string) Finding {
	if !strings.HasSuffix(text, "?") {
		text += "."
	}
	return found("missing-file", wholeFile, allChannels, noReading, "At %s: %s", place, text)
}

// nearby hints at a file whose path differs by case only.
func nearby(p string, inFolder []string) string {
	for _, q := range inFolder {
		if q != p && foldCase(path.Clean(q)) == foldCase(p) {
			return " There is " + quoted(q) + ", which differs in case."
		}
	}
	return ""
}
