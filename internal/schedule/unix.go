package schedule

import (
	"fmt"
	"strings"

	"howett.net/plist"
)

// systemd writes a service and its timer (systemd.service(5), systemd.timer(5),
// systemd.syntax(7)).
func (j Job) systemd() Unit {
	words := []string{`"` + systemdPath(j.Program) + `"`} // in the path a $ is itself
	for _, w := range j.Args {
		words = append(words, systemdWord(w))
	}
	service := fmt.Sprintf(`[Unit]
Description=%s
Wants=network-online.target
After=network-online.target

[Service]
Type=oneshot
WorkingDirectory=%s
ExecStart=%s
Nice=10
`, what, systemdPath(j.Folder), strings.Join(words, " "))
	timer := fmt.Sprintf(`[Unit]
Description=%s, every day

[Timer]
OnCalendar=*-*-* %02d:%02d:00
AccuracySec=1min
# A run that was missed because the machine was off is not made up for: what
# the devices would have said then is not known any more.
Persistent=false

[Install]
WantedBy=timers.target
`, what, j.Hour, j.Minute)
	return Unit{
		Files: []File{{Name + ".service", service}, {Name + ".timer", timer}},
		quote: shellWord,
		steps: []string{
			"For your own account (it runs while you are logged in, or always after 'loginctl enable-linger'):",
			"  mkdir -p ~/.config/systemd/user && cp {DIR}/" + Name + ".* ~/.config/systemd/user/",
			"  systemctl --user daemon-reload && systemctl --user enable --now " + Name + ".timer",
			"See when it runs, and what it said:",
			"  systemctl --user list-timers " + Name + ".timer",
			"  journalctl --user -u " + Name + ".service",
		},
	}
}

// systemdWord quotes one word of a command line: in double quotes, a backslash
// before quotes and backslashes, and the two characters doubled that begin
// specifiers and variables.
func systemdWord(s string) string {
	s = strings.NewReplacer(`\`, `\\`, `"`, `\"`, "%", "%%", "$", "$$").Replace(s)
	return `"` + s + `"`
}

// systemdPath is a path of its own on a line: no quoting, but specifiers.
func systemdPath(s string) string { return strings.ReplaceAll(s, "%", "%%") }

// longestCommand is what the usual cron takes of a line, in octets (MAX_COMMAND
// of its source, from memory).
const longestCommand = 998

// cron writes a line for crontab(5). cron hands the command to sh, after it
// turned each % that has no backslash into a line break.
func (j Job) cron() (Unit, error) {
	words := []string{"cd", shellWord(j.Folder), "&&", shellWord(j.Program)}
	for _, a := range j.Args {
		words = append(words, shellWord(a))
	}
	command := strings.ReplaceAll(strings.Join(words, " "), "%", `\%`)
	if len(command) > longestCommand {
		return Unit{}, fmt.Errorf("the line is longer than the %d octets that cron takes: put what it runs into a script and schedule that", longestCommand)
	}
	text := fmt.Sprintf("# %s, every day\n%d %d * * * %s\n", what, j.Minute, j.Hour, command)
	return Unit{
		Files: []File{{Name + ".cron", text}},
		quote: shellWord,
		steps: []string{
			"Add it to what you have ('crontab -l' shows it):",
			"  (crontab -l 2>/dev/null; cat {DIR}/" + Name + ".cron) | crontab -",
			"cron mails what the run prints to your account.",
		},
	}, nil
}

// shellWord quotes one word for sh (POSIX.1-2024, Shell Command Language,
// section 2.2.2): in single quotes nothing is special but the single quote. %
// is left to cron, which removes the backslash before it sees no quotes.
func shellWord(s string) string {
	if s != "" && strings.Trim(s, "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-_./:,=@") == "" {
		return s
	}
	return "'" + strings.ReplaceAll(s, "'", `'\''`) + "'"
}

// agent is a launchd job (launchd.plist(5), from memory).
type agent struct {
	Label                 string   `plist:"Label"`
	ProgramArguments      []string `plist:"ProgramArguments"`
	WorkingDirectory      string   `plist:"WorkingDirectory"`
	StartCalendarInterval calendar `plist:"StartCalendarInterval"`
	StandardOutPath       string   `plist:"StandardOutPath"`
	StandardErrorPath     string   `plist:"StandardErrorPath"`
	ProcessType           string   `plist:"ProcessType"`
}

type calendar struct {
	Hour   int `plist:"Hour"`
	Minute int `plist:"Minute"`
}

// label names the job in the manner of launchd; the domain is one that is
// reserved for names of one's own (RFC 6762 appendix G).
const label = "internal." + Name

func (j Job) launchd() (Unit, error) {
	log := strings.TrimSuffix(j.Folder, "/") + "/" + Name + ".log"
	b, err := plist.MarshalIndent(agent{
		Label: label, ProgramArguments: append([]string{j.Program}, j.Args...), WorkingDirectory: j.Folder,
		StartCalendarInterval: calendar{j.Hour, j.Minute}, StandardOutPath: log, StandardErrorPath: log, ProcessType: "Background",
	}, plist.XMLFormat, "\t")
	if err != nil {
		return Unit{}, err
	}
	return Unit{
		Files: []File{{label + ".plist", string(b) + "\n"}},
		quote: shellWord,
		steps: []string{
			"  cp {DIR}/" + label + ".plist ~/Library/LaunchAgents/",
			"  launchctl bootstrap gui/$(id -u) ~/Library/LaunchAgents/" + label + ".plist",
			"It runs while you are logged in, and after waking when the Mac slept at that time.",
			"What it says goes to " + log,
		},
	}, nil
}
