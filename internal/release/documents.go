package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"time"
)

// completions are the scripts by the names under which the shells look for
// them.
var completions = map[string]string{
	"bash": "printround.bash", "zsh": "_printround", "fish": "printround.fish", "powershell": "printround.ps1",
}

// documents writes manual pages and completion scripts, both made from the
// command tree itself.
func (r *release) documents(ctx context.Context, dir string) error {
	man, scripts := filepath.Join(dir, "man"), filepath.Join(dir, "completions")
	for _, d := range []string{man, scripts} {
		if err := os.MkdirAll(d, 0o755); err != nil {
			return err
		}
	}
	bin := filepath.Join(filepath.Dir(dir), "with-manual")
	build := r.goCommand(ctx, "build", "-buildvcs=false", "-tags", "manual", "-ldflags", "-X main.version="+r.version, "-o", bin, "./cmd/printround")
	if err := do(build); err != nil {
		return err
	}
	manual := exec.CommandContext(ctx, bin, "manual", man)
	manual.Env = append(os.Environ(), fmt.Sprintf("SOURCE_DATE_EPOCH=%d", r.stamp.Unix()))
	if err := do(manual); err != nil {
		return err
	}
	for shell, name := range completions {
		script, err := exec.CommandContext(ctx, bin, "completion", shell).Output()
		if err != nil {
			return fmt.Errorf("completion for %s: %w", shell, err)
		}
		if err := os.WriteFile(filepath.Join(scripts, name), script, 0o644); err != nil {
			return err
		}
	}
	return os.Remove(bin)
}

// billOfMaterials lists the modules that are in a program, in CycloneDX JSON,
// read from the program itself. The time in it becomes that of the commit.
func (r *release) billOfMaterials(ctx context.Context, t target, bin string) error {
	out, err := exec.CommandContext(ctx, filepath.Join(r.tools, "cyclonedx-gomod"), "bin", "-json", "-noserial", "-version", r.version, bin).Output()
	if err != nil {
		return fmt.Errorf("bill of materials: %w", err)
	}
	var bom map[string]any
	if err := json.Unmarshal(out, &bom); err != nil {
		return fmt.Errorf("bill of materials: %w", err)
	}
	meta, ok := bom["metadata"].(map[string]any)
	if !ok {
		return errors.New("bill of materials: no metadata")
	}
	meta["timestamp"] = r.stamp.Format(time.RFC3339)
	content, err := json.MarshalIndent(bom, "", "  ")
	if err != nil {
		return err
	}
	name := fmt.Sprintf("printround-%s-%s-%s.cdx.json", r.version, t.os, t.arch)
	return os.WriteFile(filepath.Join(r.out, name), append(content, '\n'), 0o644)
}
