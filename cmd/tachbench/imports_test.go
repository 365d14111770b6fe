package main

import (
	"go/parser"
	"go/token"
	"io/fs"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

// floors, from the ground up. A package imports its own floor or lower ones;
// synth and analysis stand side by side and never import each other.
var floors = map[string]int{"samples": 0, "synth": 1, "analysis": 1, "mixplan": 2, "cmd": 3}

// TestImportsPointDown fails on an arrow that points up or across. External
// test packages (package foo_test) may look anywhere for their truth.
func TestImportsPointDown(t *testing.T) {
	root := filepath.Join("..", "..")
	seen := 0
	err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if d.IsDir() && strings.HasPrefix(d.Name(), ".") && path != root {
			return fs.SkipDir
		}
		if !strings.HasSuffix(path, ".go") {
			return nil
		}
		f, err := parser.ParseFile(token.NewFileSet(), path, nil, parser.ImportsOnly)
		if err != nil {
			return err
		}
		if strings.HasSuffix(f.Name.Name, "_test") {
			return nil
		}
		rel, err := filepath.Rel(root, path)
		if err != nil {
			return err
		}
		from := strings.Split(filepath.ToSlash(rel), "/")[0]
		for _, spec := range f.Imports {
			to, err := strconv.Unquote(spec.Path.Value)
			if err != nil {
				return err
			}
			rest, ours := strings.CutPrefix(to, "tachbench/")
			if !ours {
				continue
			}
			seen++
			floor := strings.Split(rest, "/")[0]
			if floors[floor] > floors[from] || floors[floor] == floors[from] && floor != from {
				t.Errorf("%s imports %s: arrows point from cmd to mixplan to synth and analysis to samples", rel, to)
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if seen < 50 {
		t.Errorf("only %d imports seen: is the walk looking in the right place?", seen)
	}
}
