package main

import (
	"fmt"
	"runtime/debug"

	"github.com/spf13/cobra"
)

// version is set at link time: -ldflags "-X main.version=1.2.3".
var version string

// toolVersion names this program in reports: the version set at link time, else
// what the build recorded, else "unknown".
func toolVersion() string {
	info, ok := debug.ReadBuildInfo()
	switch {
	case version != "":
		return version
	case !ok:
		return "unknown"
	case info.Main.Version != "" && info.Main.Version != "(devel)":
		return info.Main.Version
	}
	revision, changed := "", ""
	for _, s := range info.Settings {
		switch {
		case s.Key == "vcs.revision" && len(s.Value) >= 12:
			revision = s.Value[:12]
		case s.Key == "vcs.modified" && s.Value == "true":
			changed = "+changes"
		}
	}
	if revision == "" {
		return "unreleased"
	}
	return "unreleased-" + revision + changed
}

func newVersion(a *app) *cobra.Command {
	return &cobra.Command{
		Use:   "version",
		Short: "Print the version of printround and of the Go that built it",
		Args:  arguments(0, 0, "no arguments"),
		RunE: func(*cobra.Command, []string) error {
			line := "printround " + toolVersion()
			if info, ok := debug.ReadBuildInfo(); ok {
				line += " " + info.GoVersion
			}
			_, err := fmt.Fprintln(a.stdout, line)
			return err
		},
	}
}
