// Package labtest starts the simulated network and surveys it as a user does,
// for the tests of several packages. It is for tests only.
package labtest

import (
	"context"
	"errors"
	"fmt"
	"net/netip"
	"os"
	"slices"
	"sync"
	"time"

	"printround/internal/device"
	"printround/internal/discover"
	"printround/internal/lab"
	"printround/internal/site"
	"printround/internal/snmp"
	"printround/internal/survey"
)

// T is a test or benchmark: testing.TB.
type T interface {
	Helper()
	Context() context.Context
	TempDir() string
	Cleanup(func())
	Errorf(format string, args ...any)
	Fatalf(format string, args ...any)
}

// Start starts a lab, which ends with the test.
func Start(t T, o lab.Options) *lab.Lab {
	t.Helper()
	l, err := lab.Start(t.Context(), o)
	if err != nil {
		t.Fatalf("%v", err)
	}
	t.Cleanup(func() {
		if err := l.Close(); err != nil {
			t.Errorf("stopping the lab: %v", err)
		}
	})
	return l
}

// Device returns the device of a lab with that name.
func Device(t T, l *lab.Lab, name string) lab.Device {
	t.Helper()
	i := slices.IndexFunc(l.Devices(), func(d lab.Device) bool { return d.Name == name })
	if i < 0 {
		t.Fatalf("the lab has no %s", name)
	}
	return l.Devices()[i]
}

// Users returns the users of SNMP version 3 in the site file of a lab, by site.
func Users(t T, l *lab.Lab) map[string]snmp.Credential {
	t.Helper()
	path, err := l.WriteSite(t.TempDir())
	if err != nil {
		t.Fatalf("%v", err)
	}
	file, err := site.Load(path)
	if err != nil {
		t.Fatalf("%v", err)
	}
	users := map[string]snmp.Credential{}
	for i := range file.Sites {
		creds, problems := file.Sites[i].Credentials(os.LookupEnv)
		if len(problems) > 0 {
			t.Fatalf("%v", problems)
		}
		for _, c := range creds {
			if c.Version == snmp.V3 {
				users[file.Sites[i].Name] = c
			}
		}
	}
	return users
}

// Survey surveys a lab by its own site file, which goes into a folder: each
// branch as a site, all at the same time. The surveys are in the order of the
// sites, and their devices are not judged. How says what to do beside asking
// the targets: timeouts, and whether and where announcements are listened to.
// All devices of the lab have to share their ports.
func Survey(ctx context.Context, l *lab.Lab, folder string, how discover.Config) (*site.File, []*device.Survey, error) {
	path, err := l.WriteSite(folder)
	if err != nil {
		return nil, nil, err
	}
	file, err := site.Load(path)
	if err != nil {
		return nil, nil, err
	}
	o := discover.ParseOptions{}
	for _, d := range l.Devices() {
		o.SNMPPort, o.IPPPort = max(o.SNMPPort, uint16(d.SNMPPort)), max(o.IPPPort, uint16(d.IPPPort))
	}
	surveys, errs := make([]*device.Survey, len(file.Sites)), make([]error, len(file.Sites))
	var sites sync.WaitGroup
	for i := range file.Sites {
		sites.Go(func() { surveys[i], errs[i] = surveySite(ctx, &file.Sites[i], o, how) })
	}
	sites.Wait()
	return file, surveys, errors.Join(errs...)
}

func surveySite(ctx context.Context, s *site.Site, o discover.ParseOptions, how discover.Config) (*device.Survey, error) {
	creds, problems := s.Credentials(os.LookupEnv)
	if len(problems) > 0 {
		return nil, fmt.Errorf("site %s: %v", s.Name, problems)
	}
	o.Skip = s.Skip
	scope, _, err := discover.Parse(ctx, s.Targets, o)
	if err != nil {
		return nil, err
	}
	for _, e := range s.Expected {
		if a, err := netip.ParseAddr(e.Address); err != nil || !scope.Contains(a) {
			return nil, fmt.Errorf("site %s: %s is outside the targets", s.Name, e.Address)
		}
	}
	how.Scope, how.Credentials, how.Pace, how.Retries = scope, creds, 5000, 2
	return survey.Run(ctx, survey.Options{
		Credentials: creds, Expected: s.Expected, Site: s.Name, Discover: how, Timeout: 2 * time.Second, Retries: 2,
	})
}
