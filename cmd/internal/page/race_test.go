//go:build race

package page

// The race detector is ten times slower and looks for other things than leaks.
const soakMinutes = 1
