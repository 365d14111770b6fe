// Package sheet reads the sound sheet, soundsheet.toml: the one file that
// describes a machine's sound package. What comes out is checked data; every
// number is in its range, every path names a file that exists inside the
// sheet's folder, every pattern matches something. (LoadLenient sets entries
// without a file aside instead of failing.)
//
// # Errors
//
// A sheet is written by hand, so all its problems are reported at once, in
// the order of their lines, each on one line that names file, line, column
// and key, says what is wrong and what would be right:
//
//	soundsheet.toml:12:1: engine.strokes: must be 2 or 4, not 3
//	soundsheet.toml:31:1: category.callout.target_luffs: unknown key; did you mean target_lufs?
//
// A slip in the TOML itself hides what comes after it and is reported alone.
// Things that are legal but look like a slip go to Sheet.Warnings in the same
// form. Later checks that need more knowledge than the sheet has (the names
// of presets, the names of audit limits) make errors of the same kind with
// Sheet.Errorf.
//
// # Keys
//
// A key is written as in TOML, with a number counted from 1 behind entries of
// a list: title, engine.crank.rise_s, engine.recording[2].file,
// category.callout.files[1], scene[1].cue[3].at_s. Parts that are not bare
// TOML keys are quoted.
//
// # Paths
//
// Paths use forward slashes and are relative to the sheet's folder, on every
// system. Lists of files take patterns: * ? [a-z] {a,b} within a folder, **
// for any number of folders. A name that exists as written is taken as
// written, even if it looks like a pattern. Patterns match regular files
// only, not hidden ones (a leading dot), keep the case they find, and give
// their files in byte order. Patterns do not wander through symbolic links to
// folders; a link that leads out of the sheet's folder is an error wherever it
// is met.
package sheet
