package discover

import (
	"os"
	"path/filepath"
)

// isPhysical reports whether an interface has hardware behind it: a device of
// its own, or, as a bond, bridge or VLAN, below it. What a hypervisor or
// container made has none.
func isPhysical(name string) bool {
	return hasDevice("/sys/class/net", name, 4)
}

func hasDevice(root, name string, depth int) bool {
	if _, err := os.Stat(filepath.Join(root, name, "device")); err == nil {
		return true
	}
	lower, _ := filepath.Glob(filepath.Join(root, name, "lower_*"))
	for _, l := range lower {
		if depth > 0 && hasDevice(root, filepath.Base(l)[len("lower_"):], depth-1) {
			return true
		}
	}
	return false
}
