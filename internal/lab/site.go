package lab

import (
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
)

// WriteSite writes the organisation's site file and its secret files into dir
// and returns the path of the site file. Secret files are readable by their
// owner only.
func (l *Lab) WriteSite(dir string) (string, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	var out strings.Builder
	fmt.Fprintf(&out, "# %s: an invented organisation on loopback.\n\n", l.scenario.Organisation)
	catalogue, err := scenarioFiles.ReadFile("scenario/catalogue.toml")
	if err != nil {
		return "", fmt.Errorf("writing the lab's site: %w", err)
	}
	out.Write(catalogue)
	for i := range l.scenario.Branches {
		b := &l.scenario.Branches[i]
		secrets := l.writeBranch(&out, b)
		for name, secret := range secrets {
			if err := os.WriteFile(filepath.Join(dir, name), []byte(secret+"\n"), 0o600); err != nil {
				return "", fmt.Errorf("writing the lab's site: %w", err)
			}
		}
	}
	path := filepath.Join(dir, "printround.toml")
	if err := os.WriteFile(path, []byte(out.String()), 0o600); err != nil {
		return "", fmt.Errorf("writing the lab's site: %w", err)
	}
	return path, nil
}

// writeBranch writes one site and returns the contents of its secret files.
func (l *Lab) writeBranch(out *strings.Builder, b *branch) map[string]string {
	secrets := map[string]string{}
	targets := b.Targets
	if l.onePort() {
		targets = []string{loopback.String()}
	}
	fmt.Fprintf(out, "\n[[site]]\nname = %q\nlocation = %q\ncontact = %q\ntargets = %s\n", b.Name, b.Location, b.Contact, list(targets))
	if len(b.Skip) > 0 && !l.onePort() {
		fmt.Fprintf(out, "skip = %s\n", list(b.Skip))
	}
	fmt.Fprintf(out, "expected_media = %s\n", list(b.Media))
	for i, a := range b.Access {
		stem := b.ID + "-" + strconv.Itoa(i+1)
		fmt.Fprintf(out, "\n  [[site.credential]]\n  label = %q\n  version = %q\n", a.Label, a.Version)
		if a.Version != "3" {
			secrets[stem+".community"] = a.Community
			fmt.Fprintf(out, "  community_file = %q\n", stem+".community")
			continue
		}
		secrets[stem+".auth"], secrets[stem+".priv"] = a.Auth, a.Priv
		fmt.Fprintf(out, "  user = %q\n  auth_protocol = %q\n  auth_file = %q\n  priv_protocol = %q\n  priv_file = %q\n",
			a.User, a.AuthProtocol, stem+".auth", a.PrivProtocol, stem+".priv")
	}
	l.writeNorms(out, b.ID)
	for _, n := range l.nodes {
		for _, d := range n.machines {
			// One address for all devices cannot tell which of them is expected.
			if d.place.Branch != b.ID || !d.place.Expected || l.onePort() {
				continue
			}
			fmt.Fprintf(out, "\n  [[site.device]]\n  address = %q\n  name = %q\n  location = %q\n", n.addrs[0], d.place.Title, d.place.Location)
			if d.place.Sole {
				out.WriteString("  sole = true\n")
			}
		}
	}
	return secrets
}

func list(items []string) string {
	quoted := make([]string, len(items))
	for i, s := range items {
		quoted[i] = strconv.Quote(s)
	}
	return "[" + strings.Join(quoted, ", ") + "]"
}
