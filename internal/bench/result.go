package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"runtime"
	"strings"
	"text/tabwriter"
	"time"
)

// result is what a run brought. It is written as JSON to be compared.
type result struct {
	Started  time.Time `json:"started"`
	Seconds  float64   `json:"seconds"`
	Commit   string    `json:"commit,omitempty"`
	System   string    `json:"system"`
	Cores    int       `json:"cores"`
	Isolated bool      `json:"isolated"` // in network namespaces
	Rows     []row     `json:"rows"`
}

// row is one scenario. What was not measured is 0.
type row struct {
	Scenario   string  `json:"scenario"`
	Addresses  int     `json:"addresses,omitempty"`
	Found      int     `json:"found"`
	Expected   int     `json:"expected"`
	Wall       float64 `json:"wall_seconds,omitempty"`
	CPU        float64 `json:"cpu_seconds,omitempty"`
	Packets    int64   `json:"packets,omitempty"` // sent by the program
	RSS        float64 `json:"rss_megabytes,omitempty"`
	RoundTrips float64 `json:"round_trips_per_device,omitempty"`
	Bytes      float64 `json:"bytes_per_device,omitempty"`
	Scaled     bool    `json:"scaled,omitempty"` // wall and processor time are those of a sample, scaled
	Note       string  `json:"note,omitempty"`
	Left       string  `json:"left_out,omitempty"` // why it was not run
	Failed     string  `json:"failed,omitempty"`
	Aims       []aim   `json:"aims,omitempty"`
}

// aim is a number that was wanted.
type aim struct {
	What    string  `json:"what"`
	Got     float64 `json:"got"`
	Want    float64 `json:"want"`
	AtLeast bool    `json:"at_least,omitempty"` // else: at most
	Why     string  `json:"why,omitempty"`      // said when it is not met
}

func (a aim) met() bool {
	if a.AtLeast {
		return a.Got >= a.Want
	}
	return a.Got <= a.Want
}

func (r *row) atMost(what string, got, want float64, why string) {
	r.Aims = append(r.Aims, aim{What: what, Got: got, Want: want, Why: why})
}

func (r *row) atLeast(what string, got, want float64, why string) {
	r.Aims = append(r.Aims, aim{What: what, Got: got, Want: want, AtLeast: true, Why: why})
}

func (r *result) find(name string) *row {
	for i := range r.Rows {
		if r.Rows[i].Scenario == name && r.Rows[i].Left == "" && r.Rows[i].Failed == "" {
			return &r.Rows[i]
		}
	}
	return nil
}

// across adds the aims that compare two scenarios of this run.
func (r *result) across() {
	if n, f := r.find("naive"), r.find("fast16"); n != nil && f != nil && f.Wall > 0 {
		f.atLeast("times faster than the naive design", n.Wall/f.Wall, 20, "")
		why := fmt.Sprintf("the naive sweep takes %.0f MB and reads nothing", n.RSS)
		if idle := r.find("idle"); idle != nil && idle.RSS > 0 {
			why += fmt.Sprintf("; this program takes %.0f MB for one device, so no more than %.1f are possible", idle.RSS, n.RSS/idle.RSS)
		}
		f.atLeast("times less memory than the naive design", n.RSS/f.RSS, 10, why)
	}
	if a, b := r.find("thousand"), r.find("tenthousand"); a != nil && b != nil && a.Wall > 0 {
		b.atMost("times the wall time of a thousand", b.Wall/a.Wall, 10, fmt.Sprintf(
			"%.0f s of the %.0f s of %d processors went into this program, the rest into the simulated printers and waiting", b.CPU, b.Wall*float64(runtime.NumCPU()), runtime.NumCPU()))
	}
}

// number is short and has three digits that count.
func number(v float64) string {
	switch {
	case v == 0:
		return "-"
	case math.Abs(v) >= 100:
		return fmt.Sprintf("%.0f", v)
	case math.Abs(v) >= 10:
		return fmt.Sprintf("%.1f", v)
	}
	return fmt.Sprintf("%.2f", v)
}

func (r *result) print(w io.Writer) {
	where := "each scenario in a network namespace of its own"
	if !r.Isolated {
		where = "on loopback: run as root on Linux for namespaces"
	}
	fmt.Fprintf(w, "printround %s, %s, %d cores, %s; %.0f s\n\n", r.Commit, r.System, r.Cores, where, r.Seconds)
	t := tabwriter.NewWriter(w, 2, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(t, "scenario\taddresses\tfound\tof\twall s\tCPU s\tpackets\tMB\tround trips\tbytes\t")
	for _, x := range r.Rows {
		if x.Left != "" || x.Failed != "" {
			continue
		}
		mark := ""
		if x.Scaled {
			mark = "~"
		}
		packets := "-"
		if x.Packets > 0 {
			packets = fmt.Sprint(x.Packets)
		}
		fmt.Fprintf(t, "%s\t%s\t%d\t%d\t%s%s\t%s%s\t%s\t%s\t%s\t%s\t\n", x.Scenario, number(float64(x.Addresses)), x.Found, x.Expected,
			mark, number(x.Wall), mark, number(x.CPU), packets, number(x.RSS), number(x.RoundTrips), number(x.Bytes))
	}
	t.Flush()
	fmt.Fprintln(w, "\nround trips and bytes are those of answers, for each device; ~ is scaled up from a sample")
	met, all := 0, 0
	for _, x := range r.Rows {
		switch {
		case x.Left != "":
			fmt.Fprintf(w, "\n%s: left out: %s\n", x.Scenario, x.Left)
			continue
		case x.Failed != "":
			fmt.Fprintf(w, "\n%s: FAILED: %s\n", x.Scenario, x.Failed)
			continue
		case len(x.Aims) == 0 && x.Note == "":
			continue
		}
		fmt.Fprintf(w, "\n%s\n", x.Scenario)
		for _, a := range x.Aims {
			all++
			word, sign := "NOT MET", "<="
			if a.AtLeast {
				sign = ">="
			}
			if a.met() {
				word = "met    "
				met++
			}
			fmt.Fprintf(w, "  %s  %s: %s, aim %s %s\n", word, a.What, figure(a.Got), sign, figure(a.Want))
			if !a.met() && a.Why != "" {
				fmt.Fprintf(w, "           %s\n", a.Why)
			}
		}
		if x.Note != "" {
			fmt.Fprintf(w, "  %s\n", strings.ReplaceAll(x.Note, "\n", "\n  "))
		}
	}
	fmt.Fprintf(w, "\n%d of %d aims met\n", met, all)
}

// figure is exact where a ratio of found devices is meant.
func figure(v float64) string {
	if v == math.Trunc(v) {
		return fmt.Sprintf("%.0f", v)
	}
	return fmt.Sprintf("%.4g", v)
}

// compare prints the ratios of this run to an earlier one; below 1 is less.
func (r *result) compare(w io.Writer, old *result) {
	fmt.Fprintf(w, "\nratios to %s (%s, %d cores); below 1 is less than then\n\n", old.Commit, old.System, old.Cores)
	t := tabwriter.NewWriter(w, 2, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(t, "scenario\tfound\twall\tCPU\tpackets\tMB\tround trips\tbytes\t")
	ratio := func(a, b float64) string {
		if a == 0 || b == 0 {
			return "-"
		}
		return fmt.Sprintf("%.2f", a/b)
	}
	for _, x := range r.Rows {
		o := old.find(x.Scenario)
		if o == nil || x.Left != "" || x.Failed != "" {
			continue
		}
		fmt.Fprintf(t, "%s\t%s\t%s\t%s\t%s\t%s\t%s\t%s\t\n", x.Scenario, ratio(float64(x.Found), float64(o.Found)), ratio(x.Wall, o.Wall), ratio(x.CPU, o.CPU),
			ratio(float64(x.Packets), float64(o.Packets)), ratio(x.RSS, o.RSS), ratio(x.RoundTrips, o.RoundTrips), ratio(x.Bytes, o.Bytes))
	}
	t.Flush()
}

func (r *result) write(path string) error {
	text, err := json.MarshalIndent(r, "", "  ")
	if err != nil {
		return err
	}
	return os.WriteFile(path, append(text, '\n'), 0o644)
}

func readResult(path string) (*result, error) {
	text, err := os.ReadFile(path)
	if err != nil {
		return nil, err
	}
	var r result
	if err := json.Unmarshal(text, &r); err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	if len(r.Rows) == 0 {
		return nil, errors.New(path + ": holds no result of this bench")
	}
	return &r, nil
}
