package report

import (
	"fmt"
	"io"
	"strconv"
	"strings"

	"printround/internal/device"
)

// WriteQueue writes what two readings of a queue say.
func WriteQueue(w io.Writer, q *device.QueueReport, o Options) error {
	return forms[*device.QueueReport]{"a queue", writeQueueText, writeQueueCSV, writeQueueMarkdown}.write(w, q, o)
}

// mostJobs bounds the jobs shown to people; programs get all that were read.
const mostJobs = 30

var verdictColor = map[device.QueueVerdict]string{
	device.QueueStalled: "\x1b[1;31m",
	device.QueueWaiting: "\x1b[33m",
	device.QueueMoving:  "\x1b[32m",
	device.QueueEmpty:   "\x1b[32m",
}

func writeQueueText(w io.Writer, q *device.QueueReport, o Options) error {
	p := &page{style: newStyle(o), w: w}
	verdict := strings.ToUpper(string(q.Verdict))
	if q.Blocking != nil {
		verdict += fmt.Sprintf(" by job %d", *q.Blocking)
	}
	p.line(p.paint(verdictColor[q.Verdict], p.text(verdict)))
	if whose := p.queueWhose(&q.QueueReading); whose != "" {
		p.wrapped("", "", whose)
	}
	p.wrapped("", "", p.queueRead(q))
	for _, l := range q.Why {
		p.wrapped("  ", "- ", l)
	}
	p.heading("Printer")
	p.queueState(&q.QueueReading)
	p.heading("Jobs")
	p.queueJobs(q)
	if len(q.Steps) > 0 {
		p.heading("Do this")
		for i, s := range q.Steps {
			p.wrapped("  ", fmt.Sprintf("%d) ", i+1), s)
		}
	}
	return p.err
}

// queueWhose says whose queue it is.
func (s style) queueWhose(r *device.QueueReading) string {
	line := s.whose(r.Name, r.MakeModel, r.Serial, r.Location)
	if r.Role == device.RoleServerQueue {
		return strings.TrimSuffix("queue on a print server: "+line, ": ")
	}
	return line
}

// queueRead says how it was found out.
func (p *page) queueRead(q *device.QueueReport) string {
	how := "read once"
	if q.IntervalS > 0 {
		how = fmt.Sprintf("two readings, %d s apart", q.IntervalS)
	}
	return fmt.Sprintf("%s, %s, %s", q.URI, how, p.time(q.At))
}

func (p *page) queueState(r *device.QueueReading) {
	reasons := "none"
	if len(r.Reasons) > 0 {
		reasons = strings.Join(r.Reasons, ", ")
	}
	accepting, queued := "", ""
	if r.Accepting != nil {
		accepting = yesNo(*r.Accepting)
	}
	if r.Queued != nil {
		queued = device.Counted(*r.Queued, "job", "jobs")
	}
	p.facts2("printer-state", string(r.State), "Reasons", reasons, "Its message", string(r.Message), "Accepting jobs", accepting, "Counted", queued)
}

// jobCells are the cells of one job, as queueHeadings has them.
func jobCells(j *device.QueueJob) []string {
	age := "?"
	if j.AgeS != nil {
		age = span(*j.AgeS)
	}
	return []string{strconv.Itoa(j.ID), orUnknown(string(j.State)), age, jobPages(j), strings.Join(j.Reasons, " "),
		string(j.Message), string(j.Name), string(j.Owner)}
}

var queueHeadings = []tableColumn{
	{heading: "JOB", right: true}, {heading: "STATE", least: 10, most: 20, lines: 4}, {heading: "AGE", right: true},
	{heading: "PAGES", right: true}, {heading: "REASONS", least: 10, most: 40, lines: 4}, {heading: "MESSAGE", least: 8, most: 40, lines: 4},
	{heading: "NAME", least: 8, most: 30, lines: 4}, {heading: "OWNER", least: 8, most: 20, lines: 4},
}

// jobPages is how many pages are done, of how many if the printer says so.
func jobPages(j *device.QueueJob) string {
	done := "?"
	if j.Pages != nil {
		done = grouped(*j.Pages)
	}
	if j.Total != nil && *j.Total > 0 {
		return done + " of " + grouped(*j.Total)
	}
	return done
}

func orUnknown(s string) string {
	if s == "" {
		return "?"
	}
	return s
}

// shownJobs are rows of the first jobs, without columns that are empty in all.
func shownJobs(jobs []device.QueueJob) (columns []tableColumn, rows [][]string) {
	shown := jobs[:min(len(jobs), mostJobs)]
	for i := range shown {
		rows = append(rows, jobCells(&shown[i]))
	}
	for c := len(queueHeadings) - 1; c >= 0; c-- {
		used := c < 4
		for _, r := range rows {
			used = used || r[c] != ""
		}
		if used {
			columns = append([]tableColumn{queueHeadings[c]}, columns...)
			continue
		}
		for i := range rows {
			rows[i] = append(rows[i][:c], rows[i][c+1:]...)
		}
	}
	return columns, rows
}

func (p *page) queueJobs(q *device.QueueReport) {
	if len(q.Jobs) == 0 {
		p.line("  none listed")
		return
	}
	columns, rows := shownJobs(q.Jobs)
	g := grid{columns: columns}
	for _, r := range rows {
		g.rows = append(g.rows, p.safeRow(r...))
	}
	p.block(g)
	if rest := len(q.Jobs) - len(rows); rest > 0 {
		p.wrapped("  ", "", fmt.Sprintf("and %d more; --format json or csv lists all that were read", rest))
	}
}

func writeQueueMarkdown(w io.Writer, q *device.QueueReport, o Options) error {
	p := &page{style: newStyle(o), w: w}
	p.color = false
	verdict := string(q.Verdict)
	if q.Blocking != nil {
		verdict += fmt.Sprintf(" by job %d", *q.Blocking)
	}
	p.line("# Queue " + p.md(verdict))
	p.blank()
	if whose := p.queueWhose(&q.QueueReading); whose != "" {
		p.line(p.md(whose))
		p.blank()
	}
	p.line(p.md(p.queueRead(q)))
	p.mdList("Why", q.Why)
	p.blank()
	p.line("## Jobs")
	p.blank()
	if len(q.Jobs) == 0 {
		p.line("None listed.")
	} else {
		p.mdJobs(q.Jobs)
	}
	p.mdList("Do this", q.Steps)
	return p.err
}

func (p *page) mdJobs(jobs []device.QueueJob) {
	columns, rows := shownJobs(jobs)
	p.mdGrid(columns, rows)
	if rest := len(jobs) - len(rows); rest > 0 {
		p.blank()
		p.line(fmt.Sprintf("And %d more.", rest))
	}
}

// queueRow is one job of a queue in CSV.
type queueRow struct {
	*device.QueueJob
	q *device.QueueReport
}

// queueColumns are the columns of a queue in CSV, one row for each job.
var queueColumns = []column[queueRow]{
	{"at", "time of the second reading, RFC 3339 in UTC", func(r queueRow) string { return timeCell(r.q.At) }},
	{"uri", "where the queue was read", func(r queueRow) string { return string(r.q.URI) }},
	{"verdict", "of the queue: moving, waiting, stalled", func(r queueRow) string { return string(r.q.Verdict) }},
	{"job", "job-id", func(r queueRow) string { return strconv.Itoa(r.ID) }},
	{"blocking", "yes: this job blocks the queue", func(r queueRow) string { return yesNo(r.q.Blocking != nil && *r.q.Blocking == r.ID) }},
	{"state", "job-state keyword", func(r queueRow) string { return string(r.State) }},
	{"reasons", "job-state-reasons", func(r queueRow) string { return strings.Join(r.Reasons, " ") }},
	{"age_s", "seconds since it came", func(r queueRow) string { return intCell(r.AgeS) }},
	{"processing_s", "seconds since its processing began", func(r queueRow) string { return intCell(r.ActiveS) }},
	{"pages_done", "job-impressions-completed", func(r queueRow) string { return intCell(r.Pages) }},
	{"pages", "job-impressions", func(r queueRow) string { return intCell(r.Total) }},
	{"message", "job-state-message", func(r queueRow) string { return string(r.Message) }},
	{"name", "job-name, with --show-job-names", func(r queueRow) string { return string(r.Name) }},
	{"owner", "job-originating-user-name, with --show-owners", func(r queueRow) string { return string(r.Owner) }},
}

func writeQueueCSV(w io.Writer, q *device.QueueReport, o Options) error {
	rows := make([]queueRow, len(q.Jobs))
	for i := range q.Jobs {
		rows[i] = queueRow{&q.Jobs[i], q}
	}
	return writeRows(w, queueColumns, rows, o)
}
