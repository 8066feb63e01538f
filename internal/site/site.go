// Package site reads the site file: which offices there are, what to look at
// in each, which devices are expected, and where the credentials are kept. The
// file is TOML (version 1.0.0) and holds no secret itself.
package site

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"printround/internal/device"
	"printround/internal/snmp"
)

// File is a site file that was read and found good.
type File struct {
	Path        string
	HorizonDays int // days until the next visit; 0: not stated
	Thresholds  Thresholds
	Weights     map[string]float64 // by impact or finding code, 0..1
	Report      Report
	Catalogue   device.Catalogue
	Sites       []Site // at least one, names unique
}

// Thresholds are percentages, 0 to 100, at or below which something is due,
// unless another unit is given. A nil one is not stated.
type Thresholds struct {
	ConsumableLow    *float64 // toner, ink, paper rolls
	LongLifeLow      *float64 // drums, fusers, rollers
	WasteLow         *float64 // space left in a receptacle
	TrayLow          *float64 // sheets in a tray, room in an output bin
	QueueWaitMin     *int     // minutes that a job may wait at an idle printer
	ClockOffMin      *int     // minutes that a device's clock may be off
	CertificateDays  *int     // days before its end at which a certificate is mentioned
	BringProbability *float64 // 0..1: a part is brought when it is needed before the visit after next with this probability
}

// Report says where results are kept. Paths are absolute, or relative to where
// the tool was started when the site file was named so. Empty or 0: not stated.
type Report struct {
	Dir      string // folder of the reports
	History  string // database of the nights
	KeepDays int    // nights older than that may be dropped
}

// Site is one office.
type Site struct {
	Name          string
	Location      string
	Contact       string
	Targets       []string // as on the command line; @file is made absolute
	Skip          []string
	ExpectedMedia []string
	// ExpectedOrientation is a keyword such as portrait, AnyOrientation for no
	// expectation, or empty: not stated.
	ExpectedOrientation string
	ExpectedLanguages   []string      // page languages that every device needs
	Norms               []device.Norm // how devices are to be set, by model
	Expected            []device.Expected
	credentials         []reference
}

// AnyOrientation is the expected orientation of a site that has none.
const AnyOrientation = "any"

// maxFile bounds the site file, in bytes: far above any real one, and small
// enough that a wrong path cannot fill the memory.
const maxFile = 1 << 20

// DefaultPath is where the site file is looked for when none is named:
// printround/printround.toml in the user's configuration folder.
func DefaultPath() (string, error) {
	dir, err := os.UserConfigDir()
	if err != nil {
		return "", err
	}
	return filepath.Join(dir, "printround", "printround.toml"), nil
}

// Load reads the site file at path. Secrets are not read: see
// [Site.Credentials]. An error that comes of the content is an [Error] or
// several of them joined, in the order of the file.
func Load(path string) (*File, error) {
	b, err := readBounded(path, maxFile)
	if err != nil {
		return nil, fmt.Errorf("site file %s: %w", path, cause(err))
	}
	return Parse(path, b)
}

// Parse reads the content of a site file. The path names the file in errors,
// and its folder is where relative paths in the file start.
func Parse(path string, content []byte) (*File, error) {
	raw, err := decode(path, content)
	if err != nil {
		return nil, err
	}
	c := checker{path: path, at: locate(content)}
	f := c.file(raw)
	if len(c.errs) > 0 {
		return nil, errors.Join(c.errs...)
	}
	return f, nil
}

// Credentials reads the secrets that the site refers to, in the order of the
// file; getenv is os.LookupEnv or a stand-in. A credential whose secret cannot
// be had is left out and reported: the others may still let us in. When the
// site names no credential at all, the result is the community "public" for
// version 2c, which is what devices are delivered with (common practice, no
// source); when all of them failed, the result is empty: none is guessed.
func (s *Site) Credentials(getenv func(string) (string, bool)) ([]snmp.Credential, []device.Problem) {
	if len(s.credentials) == 0 {
		return []snmp.Credential{Default()}, nil
	}
	var creds []snmp.Credential
	var problems []device.Problem
	for _, r := range s.credentials {
		c, err := r.resolve(getenv)
		if err != nil {
			problems = append(problems, device.Problem{Stage: "file", Message: fmt.Sprintf("site %q, credential %q: %v", s.Name, r.credential.Label, err)})
			continue
		}
		creds = append(creds, c)
	}
	return creds, problems
}

// Default is the credential that is used where none is named.
func Default() snmp.Credential {
	return snmp.Credential{Label: "default", Version: snmp.V2c, Community: "public"}
}

// Error is one thing wrong with a site file.
type Error struct {
	Path      string
	Line, Col int    // from 1; 0: the file as a whole
	Message   string // what is wrong and what to do
}

// Error returns one line: where, and what.
func (e *Error) Error() string {
	if e.Line == 0 {
		return fmt.Sprintf("%s: %s", e.Path, e.Message)
	}
	return fmt.Sprintf("%s:%d:%d: %s", e.Path, e.Line, e.Col, e.Message)
}

// cause strips the operation and path that the caller states himself.
func cause(err error) error {
	var pe *os.PathError
	if errors.As(err, &pe) {
		return pe.Err
	}
	return err
}
