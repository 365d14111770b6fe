// Command tachbench looks after the sound of a coin-op machine with an
// engine in it: the engine's note, the levels, and how it all sits together.
package main

import (
	"os"

	"tachbench/cmd/internal/cli"
)

func main() { os.Exit(cli.Main()) }
