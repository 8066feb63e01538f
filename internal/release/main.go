// Command release builds what is handed out: archives for each system, Debian
// and RPM packages, a bill of materials and checksums. Two runs over the same
// commit give the same octets: paths are trimmed, times are those of the
// commit, files are sorted.
//
//	go run ./internal/release -version 1.2.0 -out dist
//	go run ./internal/release -version 1.2.0 -out dist -verify   # builds twice, from two folders, and compares
//
// Run it at the top of a clean checkout. The packaging and bill-of-materials
// programs are taken from the module proxy, at the versions below.
package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"log"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"time"
)

// Tools, by exact version, so that a release can be built again.
const (
	packager  = "github.com/goreleaser/nfpm/v2/cmd/nfpm@v2.45.2"
	materials = "github.com/CycloneDX/cyclonedx-gomod/cmd/cyclonedx-gomod@v1.10.0"
)

type target struct{ os, arch string }

var targets = []target{
	{"linux", "amd64"}, {"linux", "arm64"},
	{"windows", "amd64"}, {"windows", "arm64"},
	{"darwin", "amd64"}, {"darwin", "arm64"},
}

// release is one run: what is built, from where, to where.
type release struct {
	version    string
	source     string    // top of the checkout
	out        string    // made if it is not there
	stamp      time.Time // of every file that is handed out
	only       string    // os/arch; empty: all
	maintainer string    // of the packages: name and address
	tools      string    // folder with the two programs
}

func main() {
	log.SetFlags(0)
	log.SetPrefix("release: ")
	var r release
	verify := flag.Bool("verify", false, "build a second time from a copy of the tree in another folder, and compare")
	flag.StringVar(&r.version, "version", "", "version such as 1.2.0 (needed)")
	flag.StringVar(&r.out, "out", "dist", "folder for the results; has to be empty or absent")
	flag.StringVar(&r.only, "only", "", "build for one system only, such as linux/amd64")
	flag.StringVar(&r.maintainer, "maintainer", "printround developers <printround@localhost>", "maintainer of the packages: name and address")
	flag.Parse()
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	if err := run(ctx, r, *verify); err != nil {
		stop()
		log.Fatal(err)
	}
}

// A version as the packages want it: numbers, with an optional word behind a
// hyphen.
var versionForm = regexp.MustCompile(`^\d+\.\d+\.\d+(-[0-9A-Za-z.]+)?$`)

func run(ctx context.Context, r release, verify bool) error {
	if !versionForm.MatchString(r.version) {
		return fmt.Errorf("-version %q: want three numbers such as 1.2.0, or 1.2.0-rc1", r.version)
	}
	if flag.NArg() > 0 {
		return fmt.Errorf("%q is too much: only flags are taken", flag.Arg(0))
	}
	if r.only != "" && len(r.targets()) == 0 {
		return fmt.Errorf("-only %s: choose one of %v", r.only, targets)
	}
	var err error
	if r.source, err = os.Getwd(); err != nil {
		return err
	}
	if _, err := os.Stat(filepath.Join(r.source, "cmd", "printround")); err != nil {
		return errors.New("run it at the top of the checkout")
	}
	if r.stamp, err = commitTime(ctx, r.source); err != nil {
		return err
	}
	if r.out, err = filepath.Abs(r.out); err != nil {
		return err
	}
	if there, _ := os.ReadDir(r.out); len(there) > 0 {
		return fmt.Errorf("%s is not empty", r.out)
	}
	work, err := os.MkdirTemp("", "release")
	if err != nil {
		return err
	}
	defer os.RemoveAll(work)
	r.tools = filepath.Join(work, "tools")
	if err := installTools(ctx, r.tools); err != nil {
		return err
	}
	if err := r.build(ctx); err != nil {
		return err
	}
	if !verify {
		return nil
	}
	again := r
	again.source, again.out = filepath.Join(work, "a copy of the tree"), filepath.Join(work, "again")
	if err := os.CopyFS(again.source, os.DirFS(r.source)); err != nil {
		return err
	}
	if err := again.build(ctx); err != nil {
		return err
	}
	return same(r.out, again.out)
}

func (r *release) targets() []target {
	if r.only == "" {
		return targets
	}
	for _, t := range targets {
		if t.os+"/"+t.arch == r.only {
			return []target{t}
		}
	}
	return nil
}

// build makes everything in r.out.
func (r *release) build(ctx context.Context) error {
	work, err := os.MkdirTemp("", "release")
	if err != nil {
		return err
	}
	defer os.RemoveAll(work)
	if err := os.MkdirAll(r.out, 0o755); err != nil {
		return err
	}
	docs := filepath.Join(work, "docs")
	if err := r.documents(ctx, docs); err != nil {
		return err
	}
	for _, t := range r.targets() {
		bin := filepath.Join(work, t.os+"-"+t.arch, "printround"+t.suffix())
		if err := r.compile(ctx, t, bin); err != nil {
			return err
		}
		if err := r.archive(t, bin, docs); err != nil {
			return err
		}
		if t.os == "linux" {
			if err := r.packages(ctx, t, bin, docs); err != nil {
				return err
			}
		}
		if err := r.billOfMaterials(ctx, t, bin); err != nil {
			return err
		}
	}
	return checksums(r.out)
}

func (t target) suffix() string {
	if t.os == "windows" {
		return ".exe"
	}
	return ""
}

// compile builds the program: no paths of this machine, no C, nothing of the
// checkout's state but the version. The tag leaves out the SNMP library's
// debugging, which formats every message even when nobody looks.
func (r *release) compile(ctx context.Context, t target, bin string) error {
	cmd := r.goCommand(ctx, "build", "-trimpath", "-buildvcs=false", "-tags", "gosnmp_nodebug",
		"-ldflags", "-s -w -buildid= -X main.version="+r.version, "-o", bin, "./cmd/printround")
	cmd.Env = append(cmd.Env, "GOOS="+t.os, "GOARCH="+t.arch, "CGO_ENABLED=0")
	return do(cmd)
}

// goCommand runs Go in the source tree, whatever flags the caller's
// environment sets.
func (r *release) goCommand(ctx context.Context, args ...string) *exec.Cmd {
	cmd := exec.CommandContext(ctx, "go", args...)
	cmd.Dir = r.source
	cmd.Env = append(os.Environ(), "GOFLAGS=", "GOAMD64=v1", "GOARM64=v8.0")
	return cmd
}

func installTools(ctx context.Context, dir string) error {
	for _, tool := range []string{packager, materials} {
		cmd := exec.CommandContext(ctx, "go", "install", tool)
		cmd.Env = append(os.Environ(), "GOBIN="+dir, "GOFLAGS=")
		if err := do(cmd); err != nil {
			return err
		}
	}
	return nil
}

// commitTime is SOURCE_DATE_EPOCH where it is set (the convention of
// reproducible builds), else the time of the last commit.
func commitTime(ctx context.Context, dir string) (time.Time, error) {
	text := os.Getenv("SOURCE_DATE_EPOCH")
	if text == "" {
		out, err := exec.CommandContext(ctx, "git", "-C", dir, "log", "-1", "--format=%ct").Output()
		if err != nil {
			return time.Time{}, fmt.Errorf("no time of the last commit (%w); set SOURCE_DATE_EPOCH", err)
		}
		text = strings.TrimSpace(string(out))
	}
	s, err := strconv.ParseInt(text, 10, 64)
	if err != nil || s < 0 {
		return time.Time{}, fmt.Errorf("%q is no time in seconds since 1970", text)
	}
	return time.Unix(s, 0).UTC(), nil
}

// do runs a command and reports what it printed when it fails.
func do(cmd *exec.Cmd) error {
	if out, err := cmd.CombinedOutput(); err != nil {
		return fmt.Errorf("%s: %w\n%s", strings.Join(cmd.Args, " "), err, out)
	}
	return nil
}
