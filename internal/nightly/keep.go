package nightly

import (
	"context"
	"time"

	"printround/internal/device"
	"printround/internal/finding"
	"printround/internal/history"
)

// Keep puts a judged survey into the history: devices get the names by which
// they are known and what earlier nights tell, those without an answer are
// settled, and after the survey is recorded it says what changed since the last
// run that people saw a report of. It returns the number of the run, to be
// reported.
func Keep(ctx context.Context, s *history.Store, v *device.Survey, info history.RunInfo, zone *time.Location) (run int64, err error) {
	if err := s.Annotate(ctx, v); err != nil {
		return 0, err
	}
	if err := Settle(ctx, s, v, info, zone); err != nil {
		return 0, err
	}
	finding.Rank(v.Devices)
	since, ok, err := s.LastReported(ctx)
	if err != nil {
		return 0, err
	}
	recorded, err := s.Record(ctx, v, info)
	if err != nil {
		return 0, err
	}
	v.Errors = append(v.Errors, recorded.Problems...)
	if !ok {
		return recorded.Run, nil // nobody has seen anything before
	}
	if v.Changes, err = s.Changes(ctx, since); err != nil {
		return recorded.Run, err
	}
	return recorded.Run, Gone(ctx, s, v, v.Changes)
}

// Spoil marks a survey as partial for a further reason, so that its report does
// not look like one of a night when all went well.
func Spoil(v *device.Survey, why string) {
	v.Errors = append(v.Errors, device.Problem{Stage: "file", Message: string(device.Clean(why))})
	if v.Partial {
		why = string(v.PartialReason) + "; " + why
	}
	v.Partial, v.PartialReason = true, device.Clean(why)
}
