package arch

import (
	"go/ast"
	"slices"
	"testing"
)

// No text of a device can reach a shell, because the tool starts no program at
// all: os/exec is held by libraryUsers, and this holds the ways past it.
func TestNothingStartsAProgram(t *testing.T) {
	ways := []string{"os.StartProcess", "syscall.StartProcess", "syscall.ForkExec", "syscall.Exec", "syscall.CreateProcess", "unix.Exec", "windows.CreateProcess", "windows.ShellExecute", "plugin.Open"}
	shipped(t, func(s *source, _ sourceFile, n ast.Node) {
		x, ok := n.(*ast.SelectorExpr)
		if !ok {
			return
		}
		if of, ok := x.X.(*ast.Ident); ok && slices.Contains(ways, of.Name+"."+x.Sel.Name) {
			t.Errorf("%s: %s.%s", s.at(n), of.Name, x.Sel.Name)
		}
	})
}
