// Package audit measures and judges the sounds of a package: every file in
// one streaming pass, all files over all cores, then what can only be seen
// from all of them together (targets, spread, twins, names, leftovers).
//
// Run finds the files, measures them and returns a Result; it prints nothing
// and writes nothing. A file that cannot be read goes to Result.Unreadable
// and never hides another. Memory does not grow with the length of a sound;
// per sound a few kilobytes are kept.
//
// # What is judged by what
//
// A sheet says the category, the target and the limits of each sound, what
// the machine plays (rate, depth), and which sounds are looped (a scene's cue
// with loop = true). Recordings of the engine are source material for the
// renderer: they are judged as sounds of kind engine, but not against the
// machine's format or a target unless a category lists them too. Stand-ins are
// judged like any other sound against a target; they have no part in a
// category's median and spread.
//
// Without a sheet a sound is of kind other, or of the category that the caller
// gives for all.
package audit
