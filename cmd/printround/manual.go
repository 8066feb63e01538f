//go:build manual

package main

import (
	"os"
	"strconv"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/cobra/doc"
)

// The command that writes the manual pages is only in the program that builds
// a release (-tags manual).
func init() { buildOnly = append(buildOnly, newManual) }

func newManual(*app) *cobra.Command {
	return &cobra.Command{
		Use:    "manual DIR",
		Short:  "Write the manual pages into a folder",
		Hidden: true,
		Args:   arguments(1, 1, "one folder"),
		RunE: func(cmd *cobra.Command, args []string) error {
			header := &doc.GenManHeader{Title: "PRINTROUND", Section: "1", Source: "printround " + toolVersion(), Manual: "printround"}
			if s, err := strconv.ParseInt(os.Getenv("SOURCE_DATE_EPOCH"), 10, 64); err == nil {
				at := time.Unix(s, 0).UTC()
				header.Date = &at
			}
			root := cmd.Root()
			root.DisableAutoGenTag = true
			return doc.GenManTree(root, header, args[0])
		},
	}
}
