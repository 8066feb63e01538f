package term

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math/rand/v2"
	"os"
	"path/filepath"
	"regexp"
	"syscall"
)

// WriteFile writes a file through write so that path holds either the complete
// new content or what it held before: the content goes to a temporary file in
// the same folder, is flushed to the disk, and is renamed into place. On any
// error the temporary file is removed and path is left as it was.
//
// perm is used, less the umask, for a new file; an existing one keeps its mode.
// A symbolic link is followed. A device or a named pipe is written to
// directly, since it cannot be replaced.
func WriteFile(path string, perm fs.FileMode, write func(io.Writer) error) error {
	target := path
	if resolved, err := filepath.EvalSymlinks(path); err == nil {
		target = resolved
	}
	switch info, err := os.Stat(target); {
	case err == nil && info.IsDir():
		return fmt.Errorf("writing %s: is a folder, give a file name", path)
	case err == nil && !info.Mode().IsRegular():
		return explain(path, writeDirect(target, write))
	case err == nil:
		perm = info.Mode().Perm()
		return explain(path, writeRenamed(target, perm, true, write))
	}
	return explain(path, writeRenamed(target, perm, false, write))
}

func writeDirect(path string, write func(io.Writer) error) (err error) {
	f, err := os.OpenFile(path, os.O_WRONLY, 0)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, f.Close()) }()
	return buffered(f, write)
}

func writeRenamed(path string, perm fs.FileMode, keepMode bool, write func(io.Writer) error) (err error) {
	f, err := createBeside(path, perm)
	if err != nil {
		return err
	}
	temp := f.Name()
	open, done := true, false
	defer func() { // also when write panics
		if open {
			f.Close()
		}
		if !done {
			os.Remove(temp)
		}
	}()
	if keepMode {
		if err := f.Chmod(perm); err != nil {
			return err
		}
	}
	if err := buffered(f, write); err != nil {
		return err
	}
	if err := f.Sync(); err != nil {
		return err
	}
	open = false
	if err := f.Close(); err != nil {
		return err
	}
	if err := os.Rename(temp, path); err != nil {
		return err
	}
	done = true
	syncFolder(filepath.Dir(path))
	return nil
}

func buffered(w io.Writer, write func(io.Writer) error) error {
	b := bufio.NewWriterSize(w, 64<<10)
	if err := write(b); err != nil {
		return err
	}
	return b.Flush()
}

// createBeside makes a new file in the folder of path. Unlike os.CreateTemp it
// lets the umask decide on the mode, as for any new file.
func createBeside(path string, perm fs.FileMode) (*os.File, error) {
	folder, base := filepath.Split(path)
	if len(base) > 100 {
		base = base[:100]
	}
	var f *os.File
	var err error
	for range 100 {
		name := fmt.Sprintf("%s.%s.%08x.tmp", folder, base, rand.Uint32())
		f, err = os.OpenFile(name, os.O_WRONLY|os.O_CREATE|os.O_EXCL, perm)
		if !errors.Is(err, fs.ErrExist) {
			break
		}
	}
	return f, err
}

// halfWritten is how createBeside names its files.
var halfWritten = regexp.MustCompile(`^\.(.+)\.[0-9a-f]{8}\.tmp$`)

// HalfWritten returns the name of the file that a file beside it was written
// for, as far as it is known: a program that is killed leaves such a file
// behind. ok is false for any other file.
func HalfWritten(name string) (of string, ok bool) {
	m := halfWritten.FindStringSubmatch(name)
	if m == nil {
		return "", false
	}
	return m[1], true
}

// syncFolder makes the rename itself durable. Systems that cannot do so for a
// folder report an error, which changes nothing for the caller.
func syncFolder(folder string) {
	d, err := os.Open(folder)
	if err != nil {
		return
	}
	defer d.Close()
	_ = d.Sync()
}

// explain turns an error of the file system into one line that names the file
// the user asked for and what to do about it.
func explain(path string, err error) error {
	hint := ""
	switch {
	case err == nil:
		return nil
	case errors.Is(err, syscall.ENOSPC):
		hint = ": the disk is full, free some space or choose another disk"
	case errors.Is(err, fs.ErrNotExist):
		hint = ": the folder does not exist, create it first"
	case errors.Is(err, fs.ErrPermission), errors.Is(err, syscall.EROFS):
		hint = ": the folder or file is not writable, choose another place"
	}
	return &fileError{path: path, hint: hint, err: err}
}

type fileError struct {
	path, hint string
	err        error
}

// Error leaves the name of the temporary file out.
func (e *fileError) Error() string {
	cause := e.err
	var p *fs.PathError
	var l *os.LinkError
	switch {
	case errors.As(e.err, &p):
		cause = p.Err
	case errors.As(e.err, &l):
		cause = l.Err
	}
	return fmt.Sprintf("writing %s: %v%s", e.path, cause, e.hint)
}

func (e *fileError) Unwrap() error { return e.err }
