package ipp

import "context"

// JobList asks for named attributes of the jobs that are not completed, at most
// MaxJobs, where the printer answered before.
func (s *Session) JobList(ctx context.Context, names []string) (*Answer, error) {
	a, at, err := s.ask(ctx, s.at, getJobs(names))
	if err != nil {
		return nil, err
	}
	if !a.Status().Successful() {
		return nil, statusError(a.Status(), at)
	}
	return a, nil
}
