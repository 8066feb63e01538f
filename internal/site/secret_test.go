package site

import (
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"

	"printround/internal/needtest"
	"printround/internal/snmp"
)

func writeSecret(t *testing.T, dir, content string, mode os.FileMode) string {
	t.Helper()
	path := filepath.Join(dir, "s")
	if err := os.WriteFile(path, []byte(content), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.Chmod(path, mode); err != nil {
		t.Fatal(err)
	}
	return path
}

func TestReadCommunity(t *testing.T) {
	tests := []struct{ name, content, want string }{
		{"plain", "hush", "hush"},
		{"line end", "hush\n", "hush"},
		{"carriage return and line end", "hush\r\n", "hush"},
		{"byte order mark", "\ufeffhush\n", "hush"},
		{"inner and outer spaces are part of it", " hu sh \n", " hu sh "},
		{"longest", strings.Repeat("h", 127), strings.Repeat("h", 127)},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			path := writeSecret(t, t.TempDir(), tt.content, 0o600)
			c, err := ReadCommunity("office", path)
			if err != nil {
				t.Fatal(err)
			}
			if c.Community.Reveal() != tt.want || c.Label != "office" || c.Version != snmp.V2c {
				t.Errorf("got %q under %q, version %s", c.Community.Reveal(), c.Label, c.Version)
			}
		})
	}
}

func TestReadCommunityErrors(t *testing.T) {
	tests := []struct {
		name, content string
		mode          os.FileMode
		want          string
		unix          bool
	}{
		{"empty", "", 0o600, "empty", false},
		{"only a line end", "\n", 0o600, "empty", false},
		{"two lines", "hush\nhush\n", 0o600, "more than one line", false},
		{"a zero octet", "hu\x00sh", 0o600, "more than one line", false},
		{"too long a community", strings.Repeat("hush", 32), 0o600, "128 octets, at most 127", false},
		{"no secret file at all", strings.Repeat("hush", 2000), 0o600, "longer than 4096 bytes", false},
		{"world-readable", "hush", 0o644, "chmod 600", true},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			if tt.unix && runtime.GOOS == "windows" {
				needtest.Missing(t, "mode bits that say who may read")
			}
			path := writeSecret(t, t.TempDir(), tt.content, tt.mode)
			_, err := ReadCommunity("office", path)
			if err == nil {
				t.Fatal("no error")
			}
			msg := err.Error()
			if !strings.Contains(msg, tt.want) || !strings.Contains(msg, path) {
				t.Errorf("got %q, want the path and %q", msg, tt.want)
			}
			if strings.Contains(strings.ReplaceAll(msg, path, ""), "hush") || strings.Contains(msg, "\n") {
				t.Errorf("the error shows the secret or has several lines: %q", msg)
			}
		})
	}
	if _, err := ReadCommunity("office", t.TempDir()); err == nil || !strings.Contains(err.Error(), "folder") {
		t.Errorf("a folder: got %v", err)
	}
	if _, err := ReadCommunity("office", filepath.Join(t.TempDir(), "none")); err == nil || !strings.Contains(err.Error(), "none: no such file") && runtime.GOOS != "windows" {
		t.Errorf("a missing file: got %v", err)
	}
}

func TestGroupReadableIsAllowed(t *testing.T) {
	if _, err := ReadCommunity("office", writeSecret(t, t.TempDir(), "hush", 0o640)); err != nil {
		t.Errorf("a file for the owner and a group: %v", err)
	}
}

const threeCredentials = `
[[site]]
name = "A"
targets = ["192.0.2.1"]
  [[site.credential]]
  label = "file"
  version = "1"
  community_file = "s"
  [[site.credential]]
  label = "gone"
  version = "2c"
  community_env = "GONE"
  [[site.credential]]
  label = "secure"
  version = "3"
  user = "reader"
  auth_protocol = "SHA"
  auth_env = "AUTH"
  priv_protocol = "AES"
  priv_env = "PRIV"
`

func TestCredentials(t *testing.T) {
	dir := t.TempDir()
	writeSecret(t, dir, "hush\n", 0o600)
	f, err := Parse(filepath.Join(dir, "f.toml"), []byte(threeCredentials))
	if err != nil {
		t.Fatal(err)
	}
	env := func(priv string) func(string) (string, bool) {
		return func(name string) (string, bool) {
			v, ok := map[string]string{"AUTH": "silence-please", "PRIV": priv}[name]
			return v, ok
		}
	}

	creds, problems := f.Sites[0].Credentials(env("even-quieter"))
	want := []snmp.Credential{
		{Label: "file", Version: snmp.V1, Community: "hush"},
		{Label: "secure", Version: snmp.V3, User: "reader", AuthProtocol: "SHA", AuthPass: "silence-please", PrivProtocol: "AES", PrivPass: "even-quieter"},
	}
	if len(creds) != 2 || creds[0] != want[0] || creds[1] != want[1] {
		t.Errorf("got %d credentials that differ from the two expected", len(creds))
	}
	if len(problems) != 1 || problems[0].Stage != "file" || problems[0].Message != `site "A", credential "gone": environment variable GONE is not set` {
		t.Errorf("problems: %v", problems)
	}

	// RFC 3414 section 11.2: a password has at least 8 characters.
	_, problems = f.Sites[0].Credentials(env("quieter"))
	if len(problems) != 2 || !strings.Contains(problems[1].Message, "shorter than 8 octets") || strings.Contains(problems[1].Message, "quieter") {
		t.Errorf("a passphrase of 7 octets: %v", problems)
	}
}

func TestNoGuessWhenAllFail(t *testing.T) {
	f, err := Parse("f.toml", []byte("[[site]]\nname = \"A\"\ntargets = [\"192.0.2.1\"]\n[[site.credential]]\nversion = \"2c\"\ncommunity_env = \"GONE\"\n"))
	if err != nil {
		t.Fatal(err)
	}
	creds, problems := f.Sites[0].Credentials(noEnv)
	if len(creds) != 0 || len(problems) != 1 {
		t.Errorf("got %d credentials and %d problems, want none and one", len(creds), len(problems))
	}
}
