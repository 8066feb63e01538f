// Package schedule writes what makes a system run a command every day: a timer
// for systemd, a line for cron, a property list for launchd, a task for the
// Windows Task Scheduler. It writes text only; it starts and installs nothing.
package schedule

import (
	"fmt"
	"path"
	"strings"
	"unicode"
	"unicode/utf8"
)

// System is what runs the command.
type System string

// Systems.
const (
	Systemd System = "systemd"
	Cron    System = "cron"
	Launchd System = "launchd"
	Windows System = "windows"
)

// Systems returns all systems.
func Systems() []System { return []System{Systemd, Cron, Launchd, Windows} }

// Job is what is to be run, and when.
type Job struct {
	Program      string   // absolute path
	Args         []string // each as the program is to see it
	Folder       string   // absolute path: where it is started
	Hour, Minute int      // local time, every day
}

// File is a file to be put somewhere.
type File struct {
	Name    string
	Content string
}

// Unit is what a system needs, and how it is told.
type Unit struct {
	Files []File
	steps []string // {DIR} stands for the folder of the files
	quote func(string) string
}

// Steps says what to type or do, in order, when the files are in a folder.
func (u Unit) Steps(dir string) []string {
	out := make([]string, len(u.steps))
	for i, line := range u.steps {
		out[i] = strings.ReplaceAll(line, "{DIR}", u.quote(dir))
	}
	return out
}

// Name is what the task is called.
const Name = "printround-nightly"

const what = "printround: survey of all sites"

// For makes the unit of a system.
func (j Job) For(s System) (Unit, error) {
	if err := j.check(s); err != nil {
		return Unit{}, err
	}
	switch s {
	case Systemd:
		return j.systemd(), nil
	case Cron:
		return j.cron()
	case Launchd:
		return j.launchd()
	case Windows:
		return j.windows()
	}
	return Unit{}, fmt.Errorf("there is no system %q, choose one of %v", s, Systems())
}

// check refuses what no quoting can carry.
func (j Job) check(s System) error {
	if j.Hour < 0 || j.Hour > 23 || j.Minute < 0 || j.Minute > 59 {
		return fmt.Errorf("%02d:%02d is no time of day", j.Hour, j.Minute)
	}
	for _, p := range []string{j.Program, j.Folder} {
		if !absolute(p, s) {
			return fmt.Errorf("%q: wanted an absolute path, for nobody knows where it will be started", p)
		}
	}
	if s == Systemd && strings.ContainsAny(j.Program, `\'"`) {
		return fmt.Errorf("%s: systemd starts no program with a quote or a backslash in its path: put it elsewhere, such as into /usr/local/bin", j.Program)
	}
	for _, v := range append([]string{j.Program, j.Folder}, j.Args...) {
		if !utf8.ValidString(v) {
			return fmt.Errorf("%q is not UTF-8 and cannot be written into a file of %s", v, s)
		}
		if i := strings.IndexFunc(v, unicode.IsControl); i >= 0 {
			return fmt.Errorf("%q has a control character, which %s cannot be told safely", v, s)
		}
		if strings.ContainsAny(v, "\ufffe\uffff") {
			return fmt.Errorf("%q has a character that XML does not know", v)
		}
	}
	return nil
}

func absolute(p string, s System) bool {
	if s != Windows {
		return path.IsAbs(p)
	}
	drive := len(p) >= 3 && p[1] == ':' && (p[2] == '\\' || p[2] == '/') && (p[0]|0x20 >= 'a' && p[0]|0x20 <= 'z')
	return drive || strings.HasPrefix(p, `\\`)
}

// Time reads a time of day, HH:MM of a 24-hour clock.
func Time(s string) (hour, minute int, err error) {
	bad := fmt.Errorf("%q: wanted a time of day such as 18:30", s)
	h, m, ok := strings.Cut(s, ":")
	if !ok || len(m) != 2 || len(h) < 1 || len(h) > 2 {
		return 0, 0, bad
	}
	for _, c := range h + m {
		if c < '0' || c > '9' {
			return 0, 0, bad
		}
	}
	for _, c := range h {
		hour = hour*10 + int(c-'0')
	}
	minute = int(m[0]-'0')*10 + int(m[1]-'0')
	if hour > 23 || minute > 59 {
		return 0, 0, bad
	}
	return hour, minute, nil
}
