package main

import (
	"bytes"
	"compress/gzip"
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"text/template"
	"time"
)

const summary = "which printers need somebody, why, and what to do first"

const description = `printround looks at the printers of an office over SNMP, IPP and DNS-SD,
ranks those that need somebody, and says why, what to bring and what
somebody on site can do. It keeps nightly records and foresees what runs
out before the next visit.`

// packages writes a Debian and an RPM package for a Linux target.
func (r *release) packages(ctx context.Context, t target, bin, docs string) error {
	stage, err := os.MkdirTemp("", "package")
	if err != nil {
		return err
	}
	defer os.RemoveAll(stage)
	if err := r.packageFiles(stage, docs); err != nil {
		return err
	}
	for _, form := range []string{"deb", "rpm"} {
		config := filepath.Join(stage, form+".yaml")
		if err := r.packageConfig(config, form, t, bin, docs, stage); err != nil {
			return err
		}
		name := fmt.Sprintf("printround-%s-linux-%s.%s", r.version, t.arch, form)
		cmd := exec.CommandContext(ctx, filepath.Join(r.tools, "nfpm"), "package", "--config", config, "--packager", form, "--target", filepath.Join(r.out, name))
		cmd.Env = append(os.Environ(), fmt.Sprintf("SOURCE_DATE_EPOCH=%d", r.stamp.Unix()))
		if err := do(cmd); err != nil {
			return err
		}
	}
	return nil
}

// packageFiles writes what only packages have: compressed manual pages, the
// copyright and changelog files that Debian's policy asks for (sections 12.5
// and 12.7), and the reason why the program is linked statically.
func (r *release) packageFiles(stage, docs string) error {
	licence, err := os.ReadFile(filepath.Join(r.source, "LICENSE"))
	if err != nil {
		return err
	}
	debian := fmt.Sprintf("printround (%s) unstable; urgency=medium\n\n  * Release %s.\n\n -- %s  %s\n",
		debianVersion(r.version), r.version, r.maintainer, r.stamp.Format(time.RFC1123Z))
	overrides := "# Go programs are linked statically.\nprintround: statically-linked-binary [usr/bin/printround]\n" +
		"# Built by hand: whoever publishes names an address (-maintainer).\nprintround: bogus-mail-host *\nprintround: bogus-mail-host-in-debian-changelog *\n" +
		"# Not built from an archive with a list of wishes.\nprintround: initial-upload-closes-no-bugs *\n"
	for name, content := range map[string]string{"copyright": copyright(string(licence)), "overrides": overrides} {
		if err := os.WriteFile(filepath.Join(stage, name), []byte(content), 0o644); err != nil {
			return err
		}
	}
	if err := compress(filepath.Join(stage, "changelog.gz"), []byte(debian)); err != nil {
		return err
	}
	pages, err := filepath.Glob(filepath.Join(docs, "man", "*.1"))
	if err != nil {
		return err
	}
	for _, page := range pages {
		content, err := os.ReadFile(page)
		if err != nil {
			return err
		}
		if err := compress(filepath.Join(stage, filepath.Base(page)+".gz"), content); err != nil {
			return err
		}
	}
	return nil
}

// A pre-release sorts before its release (deb-version(7)).
func debianVersion(v string) string { return strings.Replace(v, "-", "~", 1) }

// copyright puts the licence into the machine-readable form of Debian's
// copyright files, version 1.0.
func copyright(licence string) string {
	var b strings.Builder
	b.WriteString("Format: https://www.debian.org/doc/packaging-manuals/copyright-format/1.0/\nUpstream-Name: printround\n\nFiles: *\n")
	fmt.Fprintf(&b, "Copyright: %s\nLicense: Expat\n", holder(licence))
	for line := range strings.Lines(licence) {
		if line = strings.TrimSpace(line); line == "" {
			line = "."
		}
		b.WriteString(" " + line + "\n")
	}
	return b.String()
}

func holder(licence string) string {
	for line := range strings.Lines(licence) {
		if rest, ok := strings.CutPrefix(strings.TrimSpace(line), "Copyright (c) "); ok {
			return rest
		}
	}
	return "the printround developers"
}

// compress writes a gzip file without name and time in it (gzip -9n).
func compress(to string, content []byte) error {
	var b bytes.Buffer
	z, err := gzip.NewWriterLevel(&b, gzip.BestCompression)
	if err != nil {
		return err
	}
	if _, err := z.Write(content); err != nil {
		return err
	}
	if err := z.Close(); err != nil {
		return err
	}
	return os.WriteFile(to, b.Bytes(), 0o644)
}

var packageTemplate = template.Must(template.New("package").Parse(`name: printround
arch: {{.Arch}}
platform: linux
version: {{printf "%q" .Version}}
section: net
priority: optional
maintainer: {{printf "%q" .Maintainer}}
license: MIT
mtime: {{.Time}}
description: |
  {{.Summary}}
{{- range .Lines}}
  {{.}}
{{- end}}
rpm:
  group: Applications/System
  summary: {{.Summary}}
  compression: "gzip:9"
  buildhost: localhost
contents:
{{- range .Contents}}
  - {src: {{printf "%q" .From}}, dst: {{printf "%q" .To}}, file_info: {mode: {{printf "0%o" .Mode}}, owner: root, group: root, mtime: {{$.Time}}}}
{{- end}}
`))

type packaged struct {
	From, To string
	Mode     os.FileMode
}

// packageConfig writes the packaging program's file: what goes where.
func (r *release) packageConfig(to, form string, t target, bin, docs, stage string) error {
	contents := []packaged{
		{bin, "/usr/bin/printround", 0o755},
		{filepath.Join(r.source, "README.md"), "/usr/share/doc/printround/README.md", 0o644},
		{filepath.Join(docs, "completions", "printround.bash"), "/usr/share/bash-completion/completions/printround", 0o644},
		{filepath.Join(docs, "completions", "printround.fish"), "/usr/share/fish/vendor_completions.d/printround.fish", 0o644},
	}
	zsh := filepath.Join(docs, "completions", "_printround")
	if form == "deb" {
		contents = append(contents,
			packaged{zsh, "/usr/share/zsh/vendor-completions/_printround", 0o644},
			packaged{filepath.Join(stage, "copyright"), "/usr/share/doc/printround/copyright", 0o644},
			packaged{filepath.Join(stage, "changelog.gz"), "/usr/share/doc/printround/changelog.gz", 0o644},
			packaged{filepath.Join(stage, "overrides"), "/usr/share/lintian/overrides/printround", 0o644})
	} else {
		contents = append(contents,
			packaged{zsh, "/usr/share/zsh/site-functions/_printround", 0o644},
			packaged{filepath.Join(r.source, "LICENSE"), "/usr/share/licenses/printround/LICENSE", 0o644})
	}
	pages, err := filepath.Glob(filepath.Join(stage, "*.1.gz"))
	if err != nil {
		return err
	}
	for _, page := range pages {
		contents = append(contents, packaged{page, "/usr/share/man/man1/" + filepath.Base(page), 0o644})
	}
	slices.SortFunc(contents, func(a, b packaged) int { return strings.Compare(a.To, b.To) })
	var b bytes.Buffer
	err = packageTemplate.Execute(&b, map[string]any{
		"Arch": t.arch, "Version": r.version, "Time": r.stamp.Format(time.RFC3339), "Summary": summary, "Maintainer": r.maintainer,
		"Lines": strings.Split(description, "\n"), "Contents": contents,
	})
	if err != nil {
		return err
	}
	return os.WriteFile(to, b.Bytes(), 0o644)
}
