package main

import (
	"context"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/netip"
	"os"
	"time"

	"printround/internal/device"
	"printround/internal/finding"
	"printround/internal/lab"
	"printround/internal/report"
	"printround/internal/snmp"
	"printround/internal/survey"
)

// shown is how long it takes to show many devices, in seconds.
type shown struct {
	Judge, Rank, Table, CSV, JSON float64
}

// renderRole reads a few devices and makes many of them, then judges, ranks and
// writes them.
func renderRole(ctx context.Context, arg string) error {
	var n int
	if err := json.Unmarshal([]byte(arg), &n); err != nil {
		return err
	}
	if canIsolate() {
		if err := loopbackUp(); err != nil {
			return err
		}
	}
	s, err := manyDevices(ctx, n)
	if err != nil {
		return err
	}
	var out shown
	took := func(into *float64, do func() error) error {
		begin := time.Now()
		err := do()
		*into = time.Since(begin).Seconds()
		return err
	}
	_ = took(&out.Judge, func() error { finding.JudgeAll(s.Devices, finding.Defaults()); return nil })
	_ = took(&out.Rank, func() error { finding.Rank(s.Devices); return nil })
	for _, f := range []struct {
		format report.Format
		into   *float64
	}{{report.Table, &out.Table}, {report.CSV, &out.CSV}, {report.JSON, &out.JSON}} {
		err := took(f.into, func() error {
			return report.Write(io.Discard, s, report.Options{Format: f.format, Now: s.Finished})
		})
		if err != nil {
			return err
		}
	}
	return json.NewEncoder(os.Stdout).Encode(out)
}

func manyDevices(ctx context.Context, n int) (*device.Survey, error) {
	const kinds = 10 // of the crowd: healthy and with faults
	l, err := lab.StartLoad(ctx, lab.LoadOptions{Devices: kinds, Prefix: netip.MustParsePrefix("127.96.1.0/24")})
	if err != nil {
		return nil, err
	}
	defer l.Close()
	creds := []snmp.Credential{{Label: "public", Version: snmp.V2c, Community: "public"}}
	now := time.Now().UTC()
	s := &device.Survey{Schema: device.SurveySchema, Started: now, Finished: now, ToolVersion: "bench"}
	var models []device.Device
	for i := range kinds {
		at := netip.AddrPortFrom(l.Addr(i), uint16(l.Port()))
		r := survey.ReadSNMP(ctx, at, creds, survey.ReadOptions{Timeout: 2 * time.Second, Retries: 1, Now: time.Now})
		if len(r.Views) != 1 {
			return nil, errors.New("a simulated device was not read")
		}
		models = append(models, r.Views[0])
	}
	for i := range n {
		d := models[i%kinds]
		var a [4]byte
		binary.BigEndian.PutUint32(a[:], 10<<24|uint32(i)+1)
		d.Serial = device.Text(fmt.Sprintf("CR%07d", i))
		d.Key = "serial:" + string(d.Serial)
		d.Name = device.Text(fmt.Sprintf("crowd-%05d", i))
		d.Addresses = []netip.Addr{netip.AddrFrom4(a)}
		s.Devices = append(s.Devices, d)
	}
	return s, nil
}
