package main

import (
	"os"

	"printround/internal/schedule"
)

// nativeSystem is what this machine runs things with: Linux without systemd has
// cron.
func nativeSystem() schedule.System {
	if _, err := os.Stat("/run/systemd/system"); err != nil {
		return schedule.Cron
	}
	return schedule.Systemd
}
