package cli

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/signal"
	"strings"
	"syscall"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
)

// Main runs the program on the process's own arguments and streams and
// returns the exit status.
func Main() int {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	// After the first signal the usual one applies again: a second ends the
	// process at once.
	context.AfterFunc(ctx, stop)
	return Run(ctx, os.Args[1:], Streams{In: os.Stdin, Out: os.Stdout, Err: os.Stderr})
}

// Run runs the program on args (without the program's name) and returns the
// exit status. When ctx ends, so does the command.
func Run(ctx context.Context, args []string, s Streams) int {
	root := newRoot(s)
	root.SetArgs(args)
	root.SetIn(s.In)
	root.SetOut(s.Out)
	root.SetErr(s.Err)
	err := root.ExecuteContext(ctx)
	if errors.Is(err, context.Canceled) {
		s.complain(errors.New("interrupted"))
		return exitInterrupted
	}
	if err != nil && !silent(err) {
		s.complain(err)
	}
	return exitStatus(err)
}

func newRoot(s Streams) *cobra.Command {
	root := &cobra.Command{
		Use:                   "tachbench COMMAND",
		DisableFlagsInUseLine: true,
		Short:                 "The bench for the sound of a coin-op machine with an engine in it",
		Long: `Tachbench looks after the sound of a coin-op machine with an engine in it.

Results go to standard output, messages to standard error. Exit status:
0 done, 1 findings, 2 bad input or usage, 3 the environment failed,
130 interrupted.`,
		Example:       `  tachbench tacho pull.wav --cylinders 2 --strokes 2`,
		Version:       version(),
		SilenceUsage:  true,
		SilenceErrors: true,
		Args:          cobra.ArbitraryArgs,
		RunE: func(cmd *cobra.Command, args []string) error {
			if len(args) == 0 {
				return cmd.Help()
			}
			return unknownCommand(cmd, args[0])
		},
	}
	root.SetVersionTemplate("{{.Name}} {{.Version}}\n")
	root.SetUsageTemplate(usage)
	root.SetFlagErrorFunc(flagError)
	root.SetHelpCommand(helpCommand())
	root.AddCommand(newDemo(s, runDemo))
	root.AddCommand(newTacho(s, runTacho))
	root.AddCommand(newAudit(s, runAudit))
	root.AddCommand(newRender(s, runRender))
	root.AddCommand(newPlan(s, runPlan))
	root.AddCommand(newMix(s, runMix))
	root.AddCommand(newPage(s, runPage))
	root.AddCommand(newFidelity(s, runFidelity))
	root.AddCommand(newPreview(s, runPreview))
	return root
}

// usage is the second half of every help text.
const usage = `Usage:
  {{.UseLine}}{{if .HasExample}}

Examples:
{{.Example}}{{end}}{{if .HasAvailableSubCommands}}

Commands:{{range .Commands}}{{if .IsAvailableCommand}}
  {{rpad .Name .NamePadding}} {{.Short}}{{end}}{{end}}{{end}}{{if .HasAvailableLocalFlags}}

Flags:
{{.LocalFlags.FlagUsages | trimTrailingWhitespaces}}{{end}}{{if .HasAvailableSubCommands}}

"{{.CommandPath}} COMMAND --help" tells more about a command.{{end}}
`

// helpCommand is `tachbench help COMMAND`, with an error of our own for a
// command that is not there.
func helpCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "help [COMMAND]",
		Short: "Help about a command",
		RunE: func(cmd *cobra.Command, args []string) error {
			target, rest, err := cmd.Root().Find(args)
			if err != nil || len(rest) > 0 {
				return unknownCommand(cmd.Root(), args[0])
			}
			target.InitDefaultHelpFlag()
			return target.Help()
		},
	}
}

func unknownCommand(root *cobra.Command, word string) error {
	root.SuggestionsMinimumDistance = 2
	hint := "see tachbench --help"
	if near := root.SuggestionsFor(word); len(near) > 0 {
		hint = "did you mean " + strings.Join(near, " or ") + "?"
	}
	return fmt.Errorf("unknown command %q; %s", word, hint)
}

// flagError adds to an error about flags what would be right.
func flagError(cmd *cobra.Command, err error) error {
	hint := "see " + cmd.CommandPath() + " --help"
	var missing *pflag.NotExistError
	if errors.As(err, &missing) {
		if near := nearFlag(cmd, missing.GetSpecifiedName()); near != "" {
			hint = "did you mean --" + near + "?"
		}
	}
	if cmd.HasParent() {
		return fmt.Errorf("%s: %w; %s", cmd.Name(), err, hint)
	}
	return fmt.Errorf("%w; %s", err, hint)
}

// nearFlag returns a flag of cmd that begins like name, or that name begins
// like: --cylinder, --firing, --plots.
func nearFlag(cmd *cobra.Command, name string) string {
	near := ""
	cmd.Flags().VisitAll(func(f *pflag.Flag) {
		if near == "" && len(name) > 2 && (strings.HasPrefix(f.Name, name) || strings.HasPrefix(name, f.Name)) {
			near = f.Name
		}
	})
	return near
}
