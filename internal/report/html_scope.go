package report

import (
	"cmp"
	"fmt"

	"printround/internal/device"
)

// changeView is what differs from an earlier survey.
type changeView struct {
	Since string
	Kinds []changeList
}

type changeList struct {
	Title       string
	First, More []named
}

func (m *htmlMaker) changes() *changeView {
	c := m.survey.Changes
	if c == nil {
		return nil
	}
	v := &changeView{Since: "Since " + m.time(c.Since) + pagesPrinted(c.Pages)}
	for _, k := range changeKinds(c) {
		if len(k.list) == 0 {
			continue
		}
		l := changeList{Title: fmt.Sprintf("%d %s", len(k.list), k.word)}
		for i, x := range k.list {
			name, what := cmp.Or(x.Device, x.Key), cmp.Or(x.What, x.Code)
			n := m.link(x.Key, name, what)
			if i < listed {
				l.First = append(l.First, n)
			} else {
				l.More = append(l.More, n)
			}
		}
		v.Kinds = append(v.Kinds, l)
	}
	if v.Kinds == nil {
		v.Since += ": nothing else changed"
		if c.Pages == nil || c.Pages.Devices == 0 {
			v.Since = "Nothing changed since " + m.time(c.Since)
		}
	}
	return v
}

// news counts what differs from an earlier survey.
func (m *htmlMaker) news() string {
	c := m.survey.Changes
	if c == nil {
		return ""
	}
	return "Since the last run: " + list(changeCounts(c), "no change") + "."
}

// scopeView is what was looked at, and what was not seen.
type scopeView struct {
	Line     string
	Prefixes []prefixLineView
	Lists    []textList
}

type prefixLineView struct {
	Target                     string
	Probed, Answered, Printers int
	Note                       string
}

type textList struct {
	Title       string
	Items, More []string
}

func (m *htmlMaker) scope() *scopeView {
	s := m.survey
	v := &scopeView{Line: scopeLine(&s.Scope) + "."}
	for _, x := range silentFirst(s.Scope.Prefixes) {
		note := string(x.Note)
		if note == "" && x.Answered == 0 {
			note = "not reached"
		}
		v.Prefixes = append(v.Prefixes, prefixLineView{m.text(x.Target), x.Probed, x.Answered, x.Printers, m.text(note)})
	}
	var silent, missed, hosts, queues, problems []string
	for _, d := range m.ranked {
		switch {
		case d.Attention == device.Silent:
			silent = append(silent, m.describe(d))
		case !answered(d):
			missed = append(missed, m.describe(d))
		}
	}
	for _, h := range s.Unconfirmed {
		hosts = append(hosts, h.Address.String()+": "+hostLine(h))
	}
	_, shared := split(s.Devices)
	for _, d := range shared {
		queues = append(queues, m.queueLine(d))
	}
	for _, x := range s.Errors {
		problems = append(problems, problemLine(x))
	}
	for _, l := range []textList{
		{Title: "Expected but silent", Items: silent}, {Title: "No answer this time, not yet held to be silent", Items: missed}, {Title: "Not seen", Items: s.Scope.Notes}, {Title: "Unconfirmed, not ranked", Items: hosts},
		{Title: "Shared queues, not ranked", Items: queues}, {Title: "Errors", Items: problems},
	} {
		if len(l.Items) == 0 {
			continue
		}
		l.Items = m.texts(l.Items)
		if len(l.Items) > listed {
			l.Items, l.More = l.Items[:listed], l.Items[listed:]
		}
		v.Lists = append(v.Lists, l)
	}
	return v
}
