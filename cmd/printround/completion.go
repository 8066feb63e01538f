package main

import (
	"io"
	"slices"
	"strings"

	"github.com/spf13/cobra"
)

// shells maps each shell to the writer of its completion script.
var shells = map[string]func(*cobra.Command, io.Writer) error{
	"bash":       func(root *cobra.Command, w io.Writer) error { return root.GenBashCompletionV2(w, true) },
	"zsh":        func(root *cobra.Command, w io.Writer) error { return root.GenZshCompletion(w) },
	"fish":       func(root *cobra.Command, w io.Writer) error { return root.GenFishCompletion(w, true) },
	"powershell": func(root *cobra.Command, w io.Writer) error { return root.GenPowerShellCompletionWithDesc(w) },
}

var shellNames = []string{"bash", "zsh", "fish", "powershell"}

func newCompletion() *cobra.Command {
	return &cobra.Command{
		Use:   "completion SHELL",
		Short: "Print a completion script for bash, zsh, fish or powershell",
		Long: `Prints a script that makes the shell complete printround's commands and flags.

  bash:        source <(printround completion bash)
  zsh:         printround completion zsh > "${fpath[1]}/_printround"
  fish:        printround completion fish > ~/.config/fish/completions/printround.fish
  powershell:  printround completion powershell | Out-String | Invoke-Expression
`,
		Args:      arguments(1, 1, "one shell: "+strings.Join(shellNames, ", ")),
		ValidArgs: slices.Clone(shellNames),
		RunE: func(cmd *cobra.Command, args []string) error {
			script, ok := shells[args[0]]
			if !ok {
				return usagef("no completion for %q; there is one for %s", args[0], strings.Join(shellNames, ", "))
			}
			return script(cmd.Root(), cmd.OutOrStdout())
		},
	}
}
