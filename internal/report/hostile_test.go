package report

import (
	"strings"

	"printround/internal/device"
)

// hostile are strings that a device may send, one kind of harm each.
var hostile = []string{
	"\x1b[2J\x1b[31mred\x1b]0;title\x07",
	"abc\u202edef\u2066ghi\u200b\u00ad\ufeff",
	"\u009b31mC1",
	`=HYPERLINK("http://evil.example","x")`,
	"+1+1", "-1-1", "@SUM(A1)", "\t=1+1", "\r=1+1", " =1+1", "＝1+1",
	"a|b||c \\| d",
	"line one\nline two\r\nline three",
	`<script>alert("x")</script> & <b>bold</b>`,
	"[link](javascript:alert) ![i](http://evil.example/i.png) `code` *b* _u_ ~~s~~ $x$ # www.evil.example",
	strings.Repeat("very long name ", 60),
	strings.Repeat("x", 400),
	"部屋の印刷機はここにあります、とても長い名前の装置",
	"e\u0301\u0302\u0303\u0304 combining Z\u0351\u036b\u0343",
	"\xff\xfe invalid \xc3",
	"emoji 👩\u200d🔧 🇳🇴 👍🏽 flags",
	`"quoted", with comma; and semicolon`,
	"\x00nul\x7fdel",
	"- list", "1. item", "'apostrophe", "null", "",
}

// hostileDevice puts the same string wherever text can be.
func hostileDevice(v string) device.Device {
	t := device.Text(v)
	d := fullDevice()
	d.Key, d.Aliases, d.Site, d.Name, d.Technology = v, []string{v}, t, t, t
	d.Hostname, d.MakeModel, d.Serial, d.Location, d.Contact, d.Firmware, d.UUID, d.MAC = t, t, t, t, t, t, t, t
	d.Reached.SNMP.Version, d.Reached.SNMP.Credential = t, t
	d.Reached.IPP.URI, d.Reached.IPP.TLS.Fingerprint, d.Reached.IPP.TLS.Version, d.Reached.MDNS.Instance = t, t, t, t
	d.State = device.State{Device: t, Printer: t, PrinterState: t, Message: t, Overall: t, ErrorBits: []string{v}, Reasons: []string{v}, Conditions: []string{v}, Console: []string{v, v}, Lights: []device.Light{{Name: t, Color: t, State: t}}}
	d.NotJudged = []string{v}
	for i := range d.Findings {
		f := &d.Findings[i]
		f.Code, f.Summary, f.Why, f.Subunit = v, v, v, device.Subunit{Group: v, Index: i, Name: t}
		f.Evidence = []device.Evidence{{Source: device.Source(v), Object: v, Value: v}}
		f.Advice = device.Advice{Meaning: v, Causes: []string{v}, Steps: []string{v, v}, Part: t, Who: device.Who(v), Minutes: 1, Caution: t}
	}
	for i := range d.Supplies {
		s := &d.Supplies[i]
		s.Name, s.Kind, s.Colorant, s.Unit, s.Object, s.Source = t, t, t, t, v, device.Source(v)
	}
	for i := range d.Trays {
		x := &d.Trays[i]
		x.Name, x.Kind, x.Unit, x.Object, x.Media.Name, x.Media.Type, x.Media.Color = t, t, t, v, t, t, t
	}
	d.Outputs[0].Name, d.Outputs[0].Kind, d.Outputs[0].Unit, d.Outputs[0].Object = t, t, t, v
	d.Covers[0] = device.Cover{Name: t, Status: t, Object: v}
	d.Finishers[0].Name, d.Finishers[0].Kind, d.Finishers[0].Present, d.Finishers[0].Attributes = t, t, t, map[string]string{v: v}
	d.Paths[0].Name, d.Paths[0].Kind, d.Paths[0].Unit = t, t, t
	d.Channels[0].Kind, d.Channels[0].State = t, t
	d.Languages[0] = device.Language{Family: t, Level: t, Version: t, Orientation: t}
	d.Storage[0].Name, d.Storage[0].Kind = t, t
	d.Counters.Life.Unit, d.Counters.Life.Object, d.Counters.Color.Reason = t, v, t
	d.Queue.Jobs[0] = device.Job{ID: 1, Name: t, Owner: t, State: t, Reasons: []string{v}}
	d.Defaults = device.Defaults{Media: t, Orientation: t, Sides: t, Finishings: []string{v}, ColorMode: t, Ready: []string{v}}
	d.Alerts[0] = device.Alert{Source: device.Source(v), Object: v, Code: v, Severity: v, Training: v, Group: v, Description: t, AgeReason: t}
	d.Disagreements[0] = device.Disagreement{Fact: v, SNMP: v, IPP: v, Kept: device.Source(v)}
	d.Errors[0] = device.Problem{Address: v, Stage: v, Message: v}
	return d
}

// hostileSurvey has one device for each kind of harm, and harm in everything
// beside the devices.
func hostileSurvey() *device.Survey {
	s := &device.Survey{Finished: seen}
	for _, v := range hostile {
		d := hostileDevice(v)
		d.Findings, d.Aliases = d.Findings[:1], nil
		s.Devices = append(s.Devices, d)
	}
	harmSurvey(s, hostile[0]+hostile[1]+hostile[11]+hostile[12]+hostile[13]+hostile[14])
	return s
}

func harmSurvey(s *device.Survey, v string) {
	t := device.Text(v)
	s.Partial, s.PartialReason, s.Site, s.ToolVersion = true, t, t, v
	s.Scope = device.Scope{Targets: []string{v}, Prefixes: []device.Prefix{{Target: v, Note: t}}, Notes: []string{v}}
	s.Unconfirmed = []device.Unconfirmed{{Description: t, Reason: v}}
	change := []device.Change{{Key: v, Device: v, Code: v, What: v}}
	s.Changes = &device.Changes{New: change, Cleared: change, Moved: change, Arrived: change, Gone: change}
	s.Errors = []device.Problem{{Address: v, Stage: v, Message: v}}
	queue := hostileDevice(v)
	queue.Role = device.RoleServerQueue
	s.Devices = append(s.Devices, queue)
}
