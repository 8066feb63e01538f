package main

import (
	"archive/tar"
	"archive/zip"
	"bytes"
	"compress/gzip"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

func write(t *testing.T, path, content string) string {
	t.Helper()
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, []byte(content), 0o644); err != nil {
		t.Fatal(err)
	}
	return path
}

// fixture is a small source tree, a program and its documents.
func fixture(t *testing.T) (r release, bin, docs string) {
	t.Helper()
	dir := t.TempDir()
	r = release{version: "1.2.0", source: filepath.Join(dir, "src"), out: filepath.Join(dir, "out"), stamp: time.Unix(1700000000, 0).UTC()}
	write(t, filepath.Join(r.source, "README.md"), "read me")
	write(t, filepath.Join(r.source, "LICENSE"), "MIT License\n\nCopyright (c) 2026 The authors\n\nPermission is granted.\n")
	docs = filepath.Join(dir, "docs")
	write(t, filepath.Join(docs, "man", "printround.1"), ".TH")
	write(t, filepath.Join(docs, "completions", "printround.bash"), "complete")
	if err := os.MkdirAll(r.out, 0o755); err != nil {
		t.Fatal(err)
	}
	return r, write(t, filepath.Join(dir, "bin", "printround"), "program"), docs
}

// What a second reader (archive/tar, archive/zip) finds: names, modes, times,
// nothing else.
func TestArchives(t *testing.T) {
	r, bin, docs := fixture(t)
	for _, sys := range []target{{"linux", "amd64"}, {"windows", "arm64"}} {
		if err := r.archive(sys, bin, docs); err != nil {
			t.Fatal(err)
		}
	}
	f, err := os.Open(filepath.Join(r.out, "printround-1.2.0-linux-amd64.tar.gz"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	z, err := gzip.NewReader(f)
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	for tr := tar.NewReader(z); ; {
		h, err := tr.Next()
		if err == io.EOF {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
		mode := int64(0o644)
		if strings.HasSuffix(h.Name, "/printround") {
			mode = 0o755
		}
		if h.Mode != mode || !h.ModTime.Equal(r.stamp) || h.Uid != 0 || h.Uname != "" {
			t.Errorf("%s: mode %o, %v, owner %d %q", h.Name, h.Mode, h.ModTime, h.Uid, h.Uname)
		}
		names = append(names, strings.TrimPrefix(h.Name, "printround-1.2.0-linux-amd64/"))
	}
	if got, want := strings.Join(names, " "), "LICENSE README.md completions/printround.bash man/printround.1 printround"; got != want {
		t.Errorf("tar has %s, want %s", got, want)
	}
	zr, err := zip.OpenReader(filepath.Join(r.out, "printround-1.2.0-windows-arm64.zip"))
	if err != nil {
		t.Fatal(err)
	}
	defer zr.Close()
	if len(zr.File) != 4 { // no manual pages there
		t.Errorf("zip has %d files, want 4", len(zr.File))
	}
}

// The same input gives the same octets, and a difference is named.
func TestSame(t *testing.T) {
	r, bin, docs := fixture(t)
	again := r
	again.out = filepath.Join(t.TempDir(), "again")
	if err := os.MkdirAll(again.out, 0o755); err != nil {
		t.Fatal(err)
	}
	for _, x := range []*release{&r, &again} {
		if err := x.archive(target{"linux", "arm64"}, bin, docs); err != nil {
			t.Fatal(err)
		}
		if err := checksums(x.out); err != nil {
			t.Fatal(err)
		}
		if err := os.Chtimes(bin, time.Now(), time.Now()); err != nil {
			t.Fatal(err)
		}
	}
	if err := same(r.out, again.out); err != nil {
		t.Error(err)
	}
	write(t, filepath.Join(again.out, "printround-1.2.0-linux-arm64.tar.gz"), "other")
	if err := same(r.out, again.out); err == nil || !strings.Contains(err.Error(), "printround-1.2.0-linux-arm64.tar.gz") {
		t.Errorf("difference not named: %v", err)
	}
}

func TestVersions(t *testing.T) {
	for v, good := range map[string]bool{"1.2.0": true, "0.1.0-rc1": true, "1.2": false, "v1.2.0": false, "": false, "1.2.0; rm": false, "1.2.0-": false} {
		if versionForm.MatchString(v) != good {
			t.Errorf("%q: accepted %v", v, !good)
		}
	}
	if got := debianVersion("0.1.0-rc1"); got != "0.1.0~rc1" {
		t.Errorf("%s", got)
	}
}

// The form of a copyright file (Debian's machine-readable format 1.0): empty
// lines of the text are a full stop behind a space.
func TestCopyright(t *testing.T) {
	got := copyright("MIT License\n\nCopyright (c) 2026 The authors\n\nPermission.\n")
	for _, want := range []string{"Files: *\nCopyright: 2026 The authors\nLicense: Expat\n", "\n .\n Permission.\n"} {
		if !strings.Contains(got, want) {
			t.Errorf("%q not in\n%s", want, got)
		}
	}
}

func TestPackageConfig(t *testing.T) {
	r, bin, docs := fixture(t)
	r.maintainer = `A "quoted" <a@localhost>`
	stage := t.TempDir()
	if err := r.packageFiles(stage, docs); err != nil {
		t.Fatal(err)
	}
	for _, form := range []string{"deb", "rpm"} {
		to := filepath.Join(stage, form)
		if err := r.packageConfig(to, form, target{"linux", "amd64"}, bin, docs, stage); err != nil {
			t.Fatal(err)
		}
		content, err := os.ReadFile(to)
		if err != nil {
			t.Fatal(err)
		}
		for _, want := range []string{"arch: amd64", "/usr/bin/printround", "/usr/share/man/man1/printround.1.gz", `maintainer: "A \"quoted\" <a@localhost>"`} {
			if !bytes.Contains(content, []byte(want)) {
				t.Errorf("%s: %q not in\n%s", form, want, content)
			}
		}
		if deb := bytes.Contains(content, []byte("/usr/share/doc/printround/copyright")); deb != (form == "deb") {
			t.Errorf("%s: copyright file %v", form, deb)
		}
	}
}
