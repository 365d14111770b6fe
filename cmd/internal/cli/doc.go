// Package cli is the command line of tachbench: one file a command, each
// with an options struct, a constructor that only fills it from flags, and a
// run function that takes the options and the streams.
//
// Results go to standard output; messages, warnings and progress to standard
// error. An error is one line there, "tachbench: what and where", and an
// exit status (see exit.go). To add a command, write its file and name its
// constructor in newRoot.
package cli
