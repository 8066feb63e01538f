package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"printround/internal/device"
	"printround/internal/finding"
	"printround/internal/history"
	"printround/internal/lab"
	"printround/internal/term"
)

// truthPath is where the truth behind a simulated history lies: beside it.
func truthPath(history string) string {
	return strings.TrimSuffix(history, filepath.Ext(history)) + ".truth.json"
}

// checkLabNights refuses flags that do not go with or without --nights.
func checkLabNights(cmd *cobra.Command, f *labFlags) error {
	changed := cmd.Flags().Changed
	if !changed("nights") {
		if changed("out") {
			return &usageError{message: "--out goes with --nights", hint: "printround lab --nights 180 --out history.db"}
		}
		return nil
	}
	for _, n := range []string{"list", "fault", "snmp-port", "ipp-port", "no-mdns"} {
		if changed(n) {
			return usagef("--nights writes a history and starts nothing: leave out --%s", n)
		}
	}
	switch {
	case f.nights < 1 || f.nights > 3650:
		return usagef("--nights %d: wanted 1 to 3650", f.nights)
	case f.out == "":
		return &usageError{message: "where is the history to go?", hint: "printround lab --nights 180 --out history.db"}
	}
	for _, path := range []string{f.out, truthPath(f.out)} {
		if _, err := os.Lstat(path); !errors.Is(err, fs.ErrNotExist) {
			return usagef("--out: %s is there already; a simulated history is never mixed with another: give a new name", path)
		}
	}
	return nil
}

func runLabNights(ctx context.Context, a *app, f *labFlags) error {
	h, err := lab.SimulateNights(lab.NightsOptions{Seed: f.seed, Nights: f.nights})
	if err != nil {
		return err
	}
	nights, err := writeNights(ctx, f.out, h)
	if err != nil {
		return err
	}
	fmt.Fprintf(a.stdout, "%s: %s, %s, from %s\n", f.out, device.Counted(nights, "night", "nights"), device.Counted(len(h.Devices), "device", "devices"), h.First.Format("2006-01-02"))
	fmt.Fprintf(a.stdout, "%s: %s and when each was really empty\n\n", truthPath(f.out), device.Counted(len(h.Lives), "supply", "supplies"))
	fmt.Fprintf(a.stdout, "Next:\n  printround trend --history %s\n  printround trend --backtest --history %s\n", f.out, f.out)
	return nil
}

// writeNights writes a simulated history, one run a night, and the truth beside
// it. What is unfinished is removed.
func writeNights(ctx context.Context, path string, h *lab.History) (nights int, err error) {
	s, err := history.Open(path, history.Options{})
	if err != nil {
		return 0, err
	}
	defer func() {
		err = errors.Join(err, s.Close())
		if err != nil {
			for _, suffix := range []string{"", "-wal", "-shm"} {
				_ = os.Remove(path + suffix) // it did not exist before
			}
		}
		_ = os.Remove(path + ".lock") // nobody else writes a simulated history
	}()
	for n := range h.Options.Nights {
		v, ok := h.Survey(n)
		if !ok {
			continue
		}
		v.ToolVersion = toolVersion()
		for i := range v.Devices {
			finding.Judge(&v.Devices[i], finding.Defaults())
		}
		finding.Rank(v.Devices)
		if _, err := s.Record(ctx, v, history.RunInfo{Kind: history.Lab}); err != nil {
			return nights, err
		}
		nights++
	}
	return nights, term.WriteFile(truthPath(path), 0o644, func(w io.Writer) error { return h.WriteTruth(w) })
}
