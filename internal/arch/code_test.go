package arch

import (
	"bytes"
	"go/ast"
	"go/token"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"unicode/utf8"
)

// Every package explains itself once.
func TestEveryPackageHasOneDocComment(t *testing.T) {
	s := load(t)
	docs := map[string][]string{}
	for _, f := range s.files {
		if f.ast.Doc != nil && !f.test {
			docs[f.dir] = append(docs[f.dir], f.name)
		}
		if f.test || f.ast.Doc == nil || f.ast.Name.Name == "main" {
			continue
		}
		if want := "Package " + f.ast.Name.Name + " "; !strings.HasPrefix(f.ast.Doc.Text(), want) {
			t.Errorf("%s: the package comment does not begin with %q", f.name, want)
		}
	}
	for _, dir := range s.packages() {
		if len(docs[dir]) != 1 {
			t.Errorf("%s has %d package comments, want 1: %v", dir, len(docs[dir]), docs[dir])
		}
	}
}

// shipped calls check for every node of the code that is built into the
// program.
func shipped(t *testing.T, check func(s *source, f sourceFile, n ast.Node)) {
	t.Helper()
	s := load(t)
	for _, f := range s.files {
		if f.test {
			continue
		}
		ast.Inspect(f.ast, func(n ast.Node) bool {
			if n != nil {
				check(s, f, n)
			}
			return true
		})
	}
}

// The raw print ports print whatever they are sent: opening 9100 (port of
// socket-based printing, common practice) or 515 (LPD, RFC 1179 section 3.1)
// can waste paper or hold up a queue, so neither number stands in the code,
// but where they are refused.
func TestNoRawPrintPort(t *testing.T) {
	port := regexp.MustCompile(`(^|:)(9100|515)$`)
	shipped(t, func(s *source, f sourceFile, n ast.Node) {
		if lit, ok := n.(*ast.BasicLit); ok && f.dir != "internal/printport" && port.MatchString(strings.Trim(lit.Value, "\"`")) {
			t.Errorf("%s: %s looks like a raw print port", s.at(n), lit.Value)
		}
	})
}

// The tool never writes to a device. 0xa3 is the tag of SetRequest-PDU
// (RFC 1157 section 4.1.5, RFC 3416 section 3); the simulator knows it in order
// to refuse it.
func TestNoSetRequest(t *testing.T) {
	speaksSNMP := []string{"internal/snmp", "internal/mib", "internal/discover", "internal/survey", "internal/oid"}
	shipped(t, func(s *source, f sourceFile, n ast.Node) {
		if f.dir == "internal/lab" {
			return
		}
		switch n := n.(type) {
		case *ast.Ident:
			if n.Name == "SetRequest" || n.Name == "SetRequestPDU" {
				t.Errorf("%s: %s", s.at(n), n.Name)
			}
		case *ast.BasicLit:
			if strings.EqualFold(n.Value, "0xa3") && slices.Contains(speaksSNMP, f.dir) {
				t.Errorf("%s: the tag of a SetRequest-PDU", s.at(n))
			}
		case *ast.CallExpr:
			sel, ok := n.Fun.(*ast.SelectorExpr)
			if ok && sel.Sel.Name == "Set" && slices.Contains(speaksSNMP, f.dir) {
				t.Errorf("%s: a call of a method named Set where SNMP is spoken", s.at(n))
			}
		}
	})
}

// The operations of IPP that the tool asks for only read (RFC 8011 section 4),
// but for those of the one package that prints, cancels and identifies. The
// library's names of all others must not occur.
func TestNoWritingIPPOperation(t *testing.T) {
	reading := []string{"OperationGetPrinterAttributes", "OperationGetJobs", "OperationGetJobAttributes", "OperationValidateJob"}
	acting := []string{"OperationPrintJob", "OperationCreateJob", "OperationSendDocument", "OperationCancelJob", "OperationIdentifyPrinter"}
	shipped(t, func(s *source, f sourceFile, n ast.Node) {
		sel, ok := n.(*ast.SelectorExpr)
		if !ok || f.dir == "internal/lab" {
			return
		}
		if x, ok := sel.X.(*ast.Ident); !ok || x.Name != "ipp" && x.Name != "goipp" && x.Name != "goippreq" {
			return
		}
		name := sel.Sel.Name
		if f.dir == "internal/ipp/act" && slices.Contains(acting, name) {
			return
		}
		if name != "OperationGroup" && strings.HasPrefix(name, "Operation") && !slices.Contains(reading, name) {
			t.Errorf("%s: %s", s.at(n), name)
		}
	})
}

// Only the package that acts sends operations by number, and only the commands
// whose purpose it is, and what they are made of, know that package.
func TestWhoMayAct(t *testing.T) {
	const acting = "internal/ipp/act"
	users := []string{"cmd/printround/proofrun.go", "cmd/printround/queue.go", "cmd/printround/identify.go"}
	s := load(t)
	for _, f := range s.files {
		if f.test || f.dir == "internal/proof/send" {
			continue
		}
		for _, p := range f.imports() {
			if target, ours := s.within(p); ours && (target == acting || target == "internal/proof/send") && !slices.Contains(users, f.name) {
				t.Errorf("%s imports %s, which only %v may", f.name, p, users)
			}
		}
	}
	shipped(t, func(s *source, f sourceFile, n ast.Node) {
		sel, ok := n.(*ast.SelectorExpr)
		if ok && sel.Sel.Name == "Operate" && f.dir != acting {
			t.Errorf("%s: Operate is called outside %s", s.at(n), acting)
		}
	})
}

// Exit codes are decided in one place.
func TestOnlyMainExits(t *testing.T) {
	shipped(t, func(s *source, f sourceFile, n ast.Node) {
		sel, ok := n.(*ast.SelectorExpr)
		if !ok || sel.Sel.Name != "Exit" && !strings.HasPrefix(sel.Sel.Name, "Fatal") {
			return
		}
		if x, ok := sel.X.(*ast.Ident); !ok || x.Name != "os" && x.Name != "log" {
			return
		}
		if f.name != f.dir+"/main.go" {
			t.Errorf("%s: the process ends outside main.go", s.at(n))
		}
	})
}

// Differences between systems live in files named for them, not amid logic.
func TestNoSystemSwitch(t *testing.T) {
	shipped(t, func(s *source, _ sourceFile, n ast.Node) {
		if sel, ok := n.(*ast.SelectorExpr); ok && sel.Sel.Name == "GOOS" {
			t.Errorf("%s: put it into a _linux.go, _windows.go or _other.go file", s.at(n))
		}
	})
}

// Functions longer than this hold more than one idea. Generated ones may.
const longestFunction = 90

func TestFunctionsAreShort(t *testing.T) {
	shipped(t, func(s *source, in sourceFile, n ast.Node) {
		f, ok := n.(*ast.FuncDecl)
		if !ok || f.Body == nil || ast.IsGenerated(in.ast) {
			return
		}
		lines := s.fset.Position(f.Body.End()).Line - s.fset.Position(f.Pos()).Line
		if lines > longestFunction {
			t.Errorf("%s: %s has %d lines", s.at(n), f.Name.Name, lines)
		}
	})
}

// Unfinished work is marked nowhere, because there is none. The words are put
// together here so that this file does not contain them.
func TestNoUnfinishedWork(t *testing.T) {
	marks := []string{"TO" + "DO", "FIX" + "ME", "X" + "XX:", "not " + "implemented"}
	eachTextFile(t, func(name, text string) {
		for _, mark := range marks {
			if filepath.Ext(name) == ".go" && strings.Contains(text, mark) {
				t.Errorf("%s contains %q", name, mark)
			}
		}
	})
}

// Paths of somebody's machine have no place in the project.
func TestNoMachinePaths(t *testing.T) {
	path := regexp.MustCompile(`(^|[\s"'=(:])/(work|root|home|Users|tmp/[a-z])/[A-Za-z.]`)
	eachTextFile(t, func(name, text string) {
		for i, line := range strings.Split(text, "\n") {
			if path.MatchString(line) {
				t.Errorf("%s:%d: %s", name, i+1, strings.TrimSpace(line))
			}
		}
	})
}

// eachTextFile calls check for every text file of the module.
func eachTextFile(t *testing.T, check func(name, text string)) {
	t.Helper()
	s := load(t)
	err := filepath.WalkDir(s.root, func(p string, e fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if e.IsDir() && (e.Name() == ".git" || e.Name() == "fuzz") {
			return fs.SkipDir
		}
		if !e.Type().IsRegular() {
			return nil
		}
		text, err := os.ReadFile(p)
		if err != nil {
			return err
		}
		if !utf8.Valid(text) || bytes.IndexByte(text, 0) >= 0 {
			return nil
		}
		rel, err := filepath.Rel(s.root, p)
		if err != nil {
			return err
		}
		check(filepath.ToSlash(rel), string(text))
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
}

// selfEvident are methods of interfaces that everybody knows.
var selfEvident = []string{"String", "Error", "Unwrap", "Is"}

// Exported functions, methods and types are explained.
func TestExportedNamesAreExplained(t *testing.T) {
	shipped(t, func(s *source, f sourceFile, n ast.Node) {
		switch d := n.(type) {
		case *ast.FuncDecl:
			plain := d.Recv == nil || !slices.Contains(selfEvident, d.Name.Name)
			if d.Name.IsExported() && d.Doc == nil && plain && exportedReceiver(d) && f.ast.Name.Name != "main" {
				t.Errorf("%s: %s has no comment", s.at(n), d.Name.Name)
			}
		case *ast.GenDecl:
			if d.Tok != token.TYPE {
				return
			}
			for _, spec := range d.Specs {
				ts := spec.(*ast.TypeSpec)
				if ts.Name.IsExported() && d.Doc == nil && ts.Doc == nil && ts.Comment == nil {
					t.Errorf("%s: %s has no comment", s.at(ts), ts.Name.Name)
				}
			}
		}
	})
}

// exportedReceiver reports whether a function belongs to no type or to an
// exported one; methods of hidden types explain themselves by the interface
// that they satisfy.
func exportedReceiver(d *ast.FuncDecl) bool {
	if d.Recv == nil || len(d.Recv.List) == 0 {
		return true
	}
	x := d.Recv.List[0].Type
	for {
		switch y := x.(type) {
		case *ast.StarExpr:
			x = y.X
		case *ast.IndexExpr:
			x = y.X
		case *ast.Ident:
			return y.IsExported()
		default:
			return false
		}
	}
}
