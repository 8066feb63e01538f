//go:build !linux && !windows && !darwin

package main

import "printround/internal/schedule"

func nativeSystem() schedule.System { return schedule.Cron }
