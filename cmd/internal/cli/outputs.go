package cli

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"tachbench/samples/sheet"
)

// outputs names one output for each input: target itself for a single
// input, or, when target is a folder, files in it named after the inputs.
// It fails before anything is made when an output exists and force is not
// given, when two inputs would share one, or when an output is an input.
func outputs(flag, target, suffix string, inputs []string, force bool) ([]string, error) {
	out := []string{target}
	info, err := os.Stat(target)
	folder := err == nil && info.IsDir()
	if !folder && strings.HasSuffix(target, string(filepath.Separator)) {
		return nil, fmt.Errorf("%s %s: there is no such folder", flag, target)
	}
	if len(inputs) > 1 && !folder {
		return nil, fmt.Errorf("%s %s: for %d recordings this must be a folder that exists", flag, target, len(inputs))
	}
	if !folder && !strings.EqualFold(filepath.Ext(target), suffix) {
		return nil, fmt.Errorf("%s %s: its name must end in %s, or be a folder that exists", flag, target, suffix)
	}
	if folder {
		out = out[:0]
		for _, in := range inputs {
			base := filepath.Base(in)
			out = append(out, filepath.Join(target, strings.TrimSuffix(base, filepath.Ext(base))+suffix))
		}
	}
	from := map[string]string{}
	for i, path := range out {
		if other, taken := from[path]; taken {
			return nil, fmt.Errorf("%s %s: %s and %s would both be written to %s", flag, target, other, inputs[i], path)
		}
		from[path] = inputs[i]
		if err := checkOutput(flag, path, inputs, force); err != nil {
			return nil, err
		}
	}
	return out, nil
}

func checkOutput(flag, path string, inputs []string, force bool) error {
	info, err := os.Stat(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return fmt.Errorf("%s %s: %w", flag, path, bare(err))
	}
	for _, in := range inputs {
		if src, err := os.Stat(in); err == nil && os.SameFile(info, src) {
			return fmt.Errorf("%s %s: this would replace an input", flag, path)
		}
	}
	if info.IsDir() {
		return fmt.Errorf("%s %s: this is a folder", flag, path)
	}
	if !force {
		return fmt.Errorf("%s: exists already; --force replaces it", path)
	}
	return nil
}

// regular refuses what is not a plain file before it is read: a pipe or a
// device may never end.
func regular(path string) error {
	info, err := os.Stat(path)
	if err == nil && !info.Mode().IsRegular() {
		return fmt.Errorf("%s: not a file that can be read to its end", path)
	}
	return nil // what cannot be looked at fails where it is read
}

// loadSheet reads a sheet from a plain file.
func loadSheet(path string) (*sheet.Sheet, error) {
	if err := regular(path); err != nil {
		return nil, err
	}
	return sheet.Load(path)
}

// bare takes the operation and the path off an error of the file system.
func bare(err error) error {
	var pe *fs.PathError
	if errors.As(err, &pe) {
		return pe.Err
	}
	return err
}
