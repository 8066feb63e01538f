package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"printround/internal/device"
	"printround/internal/forecast"
	"printround/internal/history"
	"printround/internal/report"
)

// besideDays is how far back forecasts and charts of a report look.
const besideDays = 400

// together is how many devices are foreseen at once: their nights are in memory.
const together = 24

// beside is what a page shows beside a survey when there is a history.
func (p *plan) beside(ctx context.Context, s *history.Store) (*report.Beside, error) {
	from := p.a.now().AddDate(0, 0, -besideDays)
	o := forecast.Options{Zone: p.a.now().Location()}
	if p.file != nil {
		o.Catalogue = &p.file.Catalogue
	}
	forecasts, err := foresee(ctx, s, from, o)
	if err != nil {
		return nil, err
	}
	return &report.Beside{
		Visit: p.visitOptions(forecasts),
		Nights: func(key string) []device.Night {
			nights, err := s.Readings(ctx, key, from, time.Time{})
			if err != nil {
				return nil // it has none, or the page goes without its chart
			}
			return nights
		},
	}, nil
}

// setBeside gives a page what the history named by --history tells, where there
// is one. The function returned ends its use.
func (p *plan) setBeside(ctx context.Context, o *report.Options) (forget func(), err error) {
	o.Beside = &report.Beside{Visit: p.visitOptions(nil)}
	if p.show.history == "" || o.Format != report.HTML {
		return func() {}, nil
	}
	s, err := history.Open(p.show.history, history.Options{ReadOnly: true, Now: p.a.now})
	if err != nil {
		return nil, fmt.Errorf("--history: %w", err)
	}
	if o.Beside, err = p.beside(context.WithoutCancel(ctx), s); err != nil {
		return nil, errors.Join(err, s.Close())
	}
	return func() { _ = s.Close() }, nil // it was only read
}

// foresee foresees all devices, some of one model at a time. Those that teach
// about a model are with each of them, so that the outcome is that of all
// devices together.
func foresee(ctx context.Context, s *history.Store, from time.Time, o forecast.Options) ([]forecast.Device, error) {
	known, err := s.Devices(ctx)
	if err != nil {
		return nil, err
	}
	known = slices.DeleteFunc(known, func(k history.Known) bool { return k.LastSeen.Before(from) })
	model := func(k *history.Known) string { return strings.ToLower(strings.TrimSpace(string(k.MakeModel))) }
	slices.SortFunc(known, func(a, b history.Known) int {
		return cmp.Or(strings.Compare(model(&a), model(&b)), strings.Compare(a.Key, b.Key))
	})
	read := func(list []history.Known) ([]forecast.Series, error) {
		var out []forecast.Series
		for i := range list {
			k := &list[i]
			nights, err := s.Readings(ctx, k.Key, from, time.Time{})
			if err != nil {
				return nil, err
			}
			out = append(out, forecast.Series{Key: k.Key, MakeModel: string(k.MakeModel), Nights: nights})
		}
		return out, nil
	}
	var out []forecast.Device
	for len(known) > 0 {
		n := 1
		for n < len(known) && model(&known[n]) == model(&known[0]) {
			n++
		}
		members := known[:n]
		known = known[n:]
		teachers, err := read(members[:min(n, forecast.Company)])
		if err != nil {
			return nil, err
		}
		out = append(out, forecast.Fleet(teachers, o)...)
		for part := range slices.Chunk(members[len(teachers):], together) {
			more, err := read(part)
			if err != nil {
				return nil, err
			}
			out = append(out, forecast.Fleet(append(slices.Clip(teachers), more...), o)[len(teachers):]...)
		}
	}
	return out, nil
}
