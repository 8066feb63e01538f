package main

import "printround/internal/schedule"

func nativeSystem() schedule.System { return schedule.Windows }
