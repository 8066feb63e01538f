package main

import (
	"archive/tar"
	"archive/zip"
	"compress/gzip"
	"crypto/sha256"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strings"
)

// entry is a file of an archive.
type entry struct {
	name string // with slashes, below the archive's folder
	from string // where its content is
	mode fs.FileMode
}

// entries lists what an archive holds, sorted by name.
func (r *release) entries(t target, bin, docs string) ([]entry, error) {
	list := []entry{{path.Base(filepath.ToSlash(bin)), bin, 0o755}}
	for _, name := range []string{"README.md", "LICENSE"} {
		list = append(list, entry{name, filepath.Join(r.source, name), 0o644})
	}
	err := filepath.WalkDir(docs, func(p string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		rel, err := filepath.Rel(docs, p)
		if t.os != "windows" || !strings.HasPrefix(rel, "man") {
			list = append(list, entry{filepath.ToSlash(rel), p, 0o644})
		}
		return err
	})
	slices.SortFunc(list, func(a, b entry) int { return strings.Compare(a.name, b.name) })
	return list, err
}

// archive writes a zip for Windows and a compressed tar for the others.
func (r *release) archive(t target, bin, docs string) error {
	list, err := r.entries(t, bin, docs)
	if err != nil {
		return err
	}
	folder := fmt.Sprintf("printround-%s-%s-%s", r.version, t.os, t.arch)
	write, ext := r.writeTar, ".tar.gz"
	if t.os == "windows" {
		write, ext = r.writeZip, ".zip"
	}
	f, err := os.Create(filepath.Join(r.out, folder+ext))
	if err != nil {
		return err
	}
	if err := write(f, folder, list); err != nil {
		f.Close()
		return err
	}
	return f.Close()
}

func (r *release) writeTar(w io.Writer, folder string, list []entry) error {
	z, err := gzip.NewWriterLevel(w, gzip.BestCompression)
	if err != nil {
		return err
	}
	tw := tar.NewWriter(z)
	for _, e := range list {
		content, err := os.ReadFile(e.from)
		if err != nil {
			return err
		}
		h := &tar.Header{Name: folder + "/" + e.name, Mode: int64(e.mode), Size: int64(len(content)), ModTime: r.stamp, Format: tar.FormatUSTAR}
		if err := tw.WriteHeader(h); err != nil {
			return err
		}
		if _, err := tw.Write(content); err != nil {
			return err
		}
	}
	if err := tw.Close(); err != nil {
		return err
	}
	return z.Close()
}

func (r *release) writeZip(w io.Writer, folder string, list []entry) error {
	zw := zip.NewWriter(w)
	for _, e := range list {
		content, err := os.ReadFile(e.from)
		if err != nil {
			return err
		}
		h := &zip.FileHeader{Name: folder + "/" + e.name, Method: zip.Deflate, Modified: r.stamp}
		h.SetMode(e.mode)
		f, err := zw.CreateHeader(h)
		if err != nil {
			return err
		}
		if _, err := f.Write(content); err != nil {
			return err
		}
	}
	return zw.Close()
}

// sums returns the SHA-256 of each file of a folder, as lines that sha256sum
// checks, sorted by name.
func sums(dir string) ([]string, error) {
	files, err := os.ReadDir(dir)
	if err != nil {
		return nil, err
	}
	var lines []string
	for _, f := range files {
		if f.Name() == "SHA256SUMS" {
			continue
		}
		content, err := os.ReadFile(filepath.Join(dir, f.Name()))
		if err != nil {
			return nil, err
		}
		lines = append(lines, fmt.Sprintf("%x  %s", sha256.Sum256(content), f.Name()))
	}
	return lines, nil
}

func checksums(dir string) error {
	lines, err := sums(dir)
	if err != nil {
		return err
	}
	return os.WriteFile(filepath.Join(dir, "SHA256SUMS"), []byte(strings.Join(lines, "\n")+"\n"), 0o644)
}

// same compares the files of two folders octet by octet, and says what is not.
func same(a, b string) error {
	first, err := sums(a)
	if err != nil {
		return err
	}
	second, err := sums(b)
	if err != nil {
		return err
	}
	var differ []string
	for _, line := range first {
		if !slices.Contains(second, line) {
			differ = append(differ, line[66:])
		}
	}
	if len(differ) > 0 || len(first) != len(second) {
		return fmt.Errorf("not reproducible: %s", strings.Join(differ, ", "))
	}
	fmt.Printf("%d files equal when built twice\n", len(first))
	return nil
}
