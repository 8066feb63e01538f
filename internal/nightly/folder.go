package nightly

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"time"

	"printround/internal/device"
	"printround/internal/report"
	"printround/internal/term"
)

// Folder is where reports go. Each night has files of its own, named by its
// date; those named latest are the same of the last night.
type Folder struct {
	Dir    string
	BOM    bool           // CSV files for spreadsheets
	Beside *report.Beside // what pages show beside the survey; nil: nothing
}

const latest = "latest"

// unfinished is the file that is there while a run is under way. It stays when
// the run is ended or fails, beside files of an earlier night.
const unfinished = "run-not-finished.txt"

// Begin makes the folder and notes in it that a run has begun. It returns when
// an earlier run began that did not finish, if one did not.
func (f Folder) Begin(now time.Time) (earlier string, err error) {
	if err := os.MkdirAll(f.Dir, 0o755); err != nil {
		return "", fmt.Errorf("the folder of the reports: %w", err)
	}
	earlier, err = f.left()
	if err != nil {
		return "", err
	}
	f.tidy()
	return earlier, f.note(now, "has not finished. While this file is here, the other files are of an earlier night.")
}

// ours are the names that files of a run have.
var ours = regexp.MustCompile(`^(` + latest + `|\d{4}-\d\d-\d\d|` + regexp.QuoteMeta(unfinished) + `)\S*$`)

// tidy removes what runs that were killed left half written. Nobody else is
// writing here: the history is locked. What cannot be removed harms nobody.
func (f Folder) tidy() {
	list, err := os.ReadDir(f.Dir)
	if err != nil {
		return
	}
	for _, e := range list {
		if of, half := term.HalfWritten(e.Name()); half && ours.MatchString(of) && e.Type().IsRegular() {
			_ = os.Remove(filepath.Join(f.Dir, e.Name()))
		}
	}
}

// Failed notes why the run that began then did not finish.
func (f Folder) Failed(began time.Time, why error) error {
	return f.note(began, "failed: "+term.Safe(strings.ReplaceAll(why.Error(), "\n", "; "))+"\nThe other files may be of an earlier night.")
}

func (f Folder) note(began time.Time, text string) error {
	return term.WriteFile(filepath.Join(f.Dir, unfinished), 0o644, func(w io.Writer) error {
		_, err := fmt.Fprintf(w, "The run that began at %s %s\n", began.Format("2006-01-02 15:04:05"), text)
		return err
	})
}

// left returns when a run began that did not finish.
func (f Folder) left() (string, error) {
	file, err := os.Open(filepath.Join(f.Dir, unfinished))
	if errors.Is(err, fs.ErrNotExist) {
		return "", nil
	}
	if err != nil {
		return "", err
	}
	defer file.Close()
	text, err := io.ReadAll(io.LimitReader(file, 4096))
	if err != nil {
		return "", err
	}
	_, began, ok := strings.Cut(string(text), "began at ")
	if !ok || len(began) < len(time.DateTime) {
		return "at an unknown time", nil
	}
	return term.Safe(began[:len(time.DateTime)]), nil
}

// Done notes that the run is finished.
func (f Folder) Done() error {
	err := os.Remove(filepath.Join(f.Dir, unfinished))
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	return err
}

// file is one file of a night.
type file struct {
	name    string // behind the date
	options report.Options
}

// files lists what a night has: a file for each format, and of CSV one for each
// kind of rows.
func (f Folder) files(now time.Time) []file {
	var out []file
	for _, format := range report.Formats() {
		o := report.Options{Format: format, Now: now, Beside: f.Beside}
		switch format {
		case report.Table: // for terminals
		case report.CSV:
			for _, rows := range report.RowKinds() {
				o.Rows, o.BOM = rows, f.BOM
				out = append(out, file{string(rows) + ".csv", o})
			}
		case report.JSON:
			out = append(out, file{"survey.json", o})
		case report.Markdown:
			out = append(out, file{"report.md", o})
		default:
			out = append(out, file{"report." + string(format), o})
		}
	}
	return out
}

// Write writes the files of a night, each whole or not at all, and, when all of
// them are there, those named latest. It returns the paths of the latter.
func (f Folder) Write(v *device.Survey, now time.Time) ([]string, error) {
	files := f.files(now)
	date := now.Format(time.DateOnly)
	for _, x := range files {
		err := term.WriteFile(f.path(date, x.name), 0o644, func(w io.Writer) error { return report.Write(w, v, x.options) })
		if err != nil {
			return nil, err
		}
	}
	var out []string
	for _, x := range files {
		to := f.path(latest, x.name)
		if err := copyFile(f.path(date, x.name), to); err != nil {
			return out, err
		}
		out = append(out, to)
	}
	return out, nil
}

func (f Folder) path(which, name string) string { return filepath.Join(f.Dir, which+"-"+name) }

func copyFile(from, to string) error {
	in, err := os.Open(from)
	if err != nil {
		return err
	}
	defer in.Close()
	return term.WriteFile(to, 0o644, func(w io.Writer) error {
		_, err := io.Copy(w, in)
		return err
	})
}
