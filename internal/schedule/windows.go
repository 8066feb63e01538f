package schedule

import (
	"encoding/xml"
	"fmt"
	"strings"
)

// taskSpace is the namespace of tasks, version 1.2 of their format. Names and
// order of the elements are those of the published schema of the Task Scheduler
// (from memory).
const taskSpace = "http://schemas.microsoft.com/windows/2004/02/mit/task"

type task struct {
	XMLName  xml.Name     `xml:"Task"`
	Version  string       `xml:"version,attr"`
	Space    string       `xml:"xmlns,attr"`
	Info     taskInfo     `xml:"RegistrationInfo"`
	Trigger  taskTrigger  `xml:"Triggers>CalendarTrigger"`
	Owner    taskOwner    `xml:"Principals>Principal"`
	Settings taskSettings `xml:"Settings"`
	Actions  taskActions  `xml:"Actions"`
}

type taskInfo struct {
	Description string `xml:"Description"`
}

type taskTrigger struct {
	Start    string `xml:"StartBoundary"` // local time, without a zone
	Enabled  bool   `xml:"Enabled"`
	Interval int    `xml:"ScheduleByDay>DaysInterval"`
}

type taskOwner struct {
	ID    string `xml:"id,attr"`
	Logon string `xml:"LogonType"`
	Level string `xml:"RunLevel"`
}

type taskSettings struct {
	Instances  string `xml:"MultipleInstancesPolicy"`
	OnBattery  bool   `xml:"DisallowStartIfOnBatteries"`
	EndBattery bool   `xml:"StopIfGoingOnBatteries"`
	MakeUp     bool   `xml:"StartWhenAvailable"`
	Network    bool   `xml:"RunOnlyIfNetworkAvailable"`
	Enabled    bool   `xml:"Enabled"`
	Limit      string `xml:"ExecutionTimeLimit"` // ISO 8601
	Priority   int    `xml:"Priority"`
}

type taskActions struct {
	Context string   `xml:"Context,attr"`
	Exec    taskExec `xml:"Exec"`
}

type taskExec struct {
	Command   string `xml:"Command"`
	Arguments string `xml:"Arguments,omitempty"`
	Folder    string `xml:"WorkingDirectory"`
}

// longest is when the Task Scheduler ends a run. A run ends by itself long
// before.
const longest = "PT6H"

func (j Job) windows() (Unit, error) {
	words := make([]string, len(j.Args))
	for i, a := range j.Args {
		words[i] = windowsWord(a)
	}
	b, err := xml.MarshalIndent(task{
		Version: "1.2", Space: taskSpace, Info: taskInfo{what},
		Trigger: taskTrigger{fmt.Sprintf("2026-01-01T%02d:%02d:00", j.Hour, j.Minute), true, 1},
		Owner:   taskOwner{"Author", "InteractiveToken", "LeastPrivilege"},
		Settings: taskSettings{
			Instances: "IgnoreNew", Network: true, Enabled: true, Limit: longest, Priority: 7,
		},
		Actions: taskActions{"Author", taskExec{j.Program, strings.Join(words, " "), j.Folder}},
	}, "", "  ")
	if err != nil {
		return Unit{}, err
	}
	text := `<?xml version="1.0" encoding="UTF-8"?>` + "\n" + string(b) + "\n"
	return Unit{
		Files: []File{{Name + ".xml", strings.ReplaceAll(text, "\n", "\r\n")}},
		quote: func(dir string) string { return dir }, // a folder's name has no quote there
		steps: []string{
			"  schtasks /Create /TN " + Name + ` /XML "{DIR}\` + Name + `.xml"`,
			"It runs while you are logged in. To see how the last run ended:",
			"  schtasks /Query /TN " + Name + " /V /FO LIST",
		},
	}, nil
}

// windowsWord quotes one argument as programs on Windows take their command
// line apart (the rules of CommandLineToArgvW, from memory): double quotes
// around what has white space; backslashes are doubled before a quote, and
// nowhere else.
func windowsWord(s string) string {
	if s != "" && !strings.ContainsAny(s, " \t\"") {
		return s
	}
	var b strings.Builder
	b.WriteByte('"')
	slashes := 0
	for _, r := range s {
		switch r {
		case '\\':
			slashes++
			continue
		case '"':
			b.WriteString(strings.Repeat(`\`, 2*slashes+1))
		default:
			b.WriteString(strings.Repeat(`\`, slashes))
		}
		slashes = 0
		b.WriteRune(r)
	}
	b.WriteString(strings.Repeat(`\`, 2*slashes))
	b.WriteByte('"')
	return b.String()
}
