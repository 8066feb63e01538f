package arch

import (
	"bytes"
	"go/ast"
	"go/build/constraint"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
)

// sourceFile is one parsed file of the module.
type sourceFile struct {
	name string // slash-separated, below the module root
	dir  string // package directory below the module root, such as internal/mib
	test bool
	ast  *ast.File
}

// source is the whole module, parsed once. A subprocess such as "go list" would
// hide its reads from the test cache, so that a forbidden import added later
// would still be "ok (cached)".
type source struct {
	root   string
	module string
	fset   *token.FileSet
	files  []sourceFile
}

var loadSource = sync.OnceValues(parseModule)

func load(t *testing.T) *source {
	t.Helper()
	s, err := loadSource()
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func parseModule() (*source, error) {
	root, err := filepath.Abs(filepath.Join("..", ".."))
	if err != nil {
		return nil, err
	}
	mod, err := os.ReadFile(filepath.Join(root, "go.mod"))
	if err != nil {
		return nil, err
	}
	first, _, _ := strings.Cut(string(mod), "\n")
	s := &source{root: root, module: strings.TrimPrefix(first, "module "), fset: token.NewFileSet()}
	err = filepath.WalkDir(root, func(p string, e fs.DirEntry, err error) error {
		switch {
		case err != nil:
			return err
		case e.IsDir() && (e.Name() == ".git" || e.Name() == "testdata"):
			return fs.SkipDir
		case e.IsDir() || filepath.Ext(p) != ".go":
			return nil
		}
		return s.parse(p)
	})
	return s, err
}

func (s *source) parse(p string) error {
	text, err := os.ReadFile(p)
	if err != nil {
		return err
	}
	if ignored(text) {
		return nil
	}
	f, err := parser.ParseFile(s.fset, p, text, parser.ParseComments)
	if err != nil {
		return err
	}
	rel, err := filepath.Rel(s.root, p)
	if err != nil {
		return err
	}
	rel = filepath.ToSlash(rel)
	s.files = append(s.files, sourceFile{name: rel, dir: path.Dir(rel), test: strings.HasSuffix(rel, "_test.go"), ast: f})
	return nil
}

// ignored reports whether a file is kept out of every build by the constraint
// "ignore", as generators are.
func ignored(text []byte) bool {
	for line := range bytes.Lines(text) {
		trimmed := strings.TrimSpace(string(line))
		if strings.HasPrefix(trimmed, "package ") {
			return false
		}
		if x, err := constraint.Parse(trimmed); err == nil {
			return !x.Eval(func(tag string) bool { return tag != "ignore" })
		}
	}
	return false
}

// imports returns the import paths of a file.
func (f sourceFile) imports() []string {
	var paths []string
	for _, i := range f.ast.Imports {
		paths = append(paths, strings.Trim(i.Path.Value, `"`))
	}
	return paths
}

// packages returns the package directories, sorted.
func (s *source) packages() []string {
	var dirs []string
	for _, f := range s.files {
		if !slices.Contains(dirs, f.dir) {
			dirs = append(dirs, f.dir)
		}
	}
	slices.Sort(dirs)
	return dirs
}

// within returns the package directory of one of our import paths.
func (s *source) within(importPath string) (dir string, ok bool) {
	return strings.CutPrefix(importPath, s.module+"/")
}

// reach returns every import path that the non-test code of a package reaches
// through our own packages, each with the chain of packages that leads to it.
func (s *source) reach(dir string) map[string][]string {
	found := map[string][]string{}
	var walk func(dir string, chain []string)
	walk = func(dir string, chain []string) {
		chain = append(slices.Clone(chain), dir)
		for _, f := range s.files {
			if f.dir != dir || f.test {
				continue
			}
			for _, p := range f.imports() {
				if _, seen := found[p]; seen {
					continue
				}
				found[p] = chain
				if next, ours := s.within(p); ours {
					walk(next, chain)
				}
			}
		}
	}
	walk(dir, nil)
	return found
}

// at returns where a node stands, for messages.
func (s *source) at(n ast.Node) string {
	p := s.fset.Position(n.Pos())
	if rel, err := filepath.Rel(s.root, p.Filename); err == nil {
		p.Filename = filepath.ToSlash(rel)
	}
	return p.String()
}
