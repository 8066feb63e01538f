//go:build !linux

package term

import (
	"os"
	"testing"

	"printround/internal/needtest"
)

// asOrdinary does something that looks at files with the rights of an ordinary
// account: the superuser, and Windows, may write everywhere.
func asOrdinary(t *testing.T, _ string, do func() error) error {
	t.Helper()
	if os.Geteuid() <= 0 {
		needtest.Missing(t, "an account whose rights end at a folder")
	}
	return do()
}
