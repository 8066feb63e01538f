package main

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"
)

// statuses ends the help of every command that looks at devices.
const statuses = `
Exit status:
  0  done, and nothing needs attention
  1  failed, interrupted, or partial: what there is, is kept and marked
  2  usage
  3  something is impaired or due
  4  something is stopped
  5  no answer
`

// buildOnly are commands that only a build with a tag has: see manual.go.
var buildOnly []func(*app) *cobra.Command

func newRoot(a *app) *cobra.Command {
	root := &cobra.Command{
		Use:   "printround",
		Short: "Which printers need somebody, in what order, why, and what to do first",
		Long: `printround looks at printers over SNMP (Printer MIB, RFC 3805, and Finisher
MIB, RFC 3806), IPP (RFC 8011) and DNS-SD (RFC 6763), and says which of them
need somebody, in what order, why, and what to do first. It only reads; 'proof',
'queue --cancel' and 'identify' act on one device, and ask first. It never
changes a setting.

Try it without hardware:  printround sweep --lab
`,
		SilenceUsage:  true,
		SilenceErrors: true,
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) == 0 {
				return nil
			}
			err := &usageError{message: fmt.Sprintf("there is no command %q", args[0])}
			if near := cmd.SuggestionsFor(args[0]); len(near) > 0 {
				err.hint = "did you mean 'printround " + strings.Join(near, "' or 'printround ") + "'?"
			}
			return err
		},
		RunE:              func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
		CompletionOptions: cobra.CompletionOptions{DisableDefaultCmd: true},
	}
	root.SuggestionsMinimumDistance = 2
	root.SetFlagErrorFunc(func(_ *cobra.Command, err error) error { return &usageError{message: err.Error()} })
	root.SetHelpCommand(newHelp())
	root.AddCommand(newSweep(a), newVisit(a), newCheck(a), newSymptom(a), newNightly(a), newSchedule(a), newTrend(a), newHistory(a), newProof(a), newQueue(a), newIdentify(a), newColor(a), newLab(a), newVersion(a), newCompletion())
	for _, make := range buildOnly {
		root.AddCommand(make(a))
	}
	return root
}

func newHelp() *cobra.Command {
	return &cobra.Command{
		Use:   "help [COMMAND]",
		Short: "Print the help of a command",
		RunE: func(cmd *cobra.Command, args []string) error {
			of, rest, err := cmd.Root().Find(args)
			if err != nil || len(rest) > 0 {
				return &usageError{message: fmt.Sprintf("there is no command %q", strings.Join(args, " ")), hint: "see 'printround --help'"}
			}
			return of.Help()
		},
	}
}

// arguments refuses a wrong number of arguments with the line that says how
// the command is used.
func arguments(least, most int, what string) cobra.PositionalArgs {
	return func(cmd *cobra.Command, args []string) error {
		switch {
		case len(args) < least:
			return usagef("%s needs %s", cmd.Name(), what)
		case len(args) > most:
			return usagef("%s takes %s; %q is too much", cmd.Name(), what, args[most])
		}
		return nil
	}
}
