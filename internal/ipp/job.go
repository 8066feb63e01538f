package ipp

import (
	"context"
	"slices"

	goippreq "github.com/phin1x/go-ipp"
)

// Ask asks for named attributes of the printer where it answered before. A
// printer that dislikes the list is asked for all that it has.
func (s *Session) Ask(ctx context.Context, names []string) (*Answer, error) {
	for {
		a, at, err := s.ask(ctx, s.at, getPrinterAttributes(names))
		switch {
		case err != nil:
			return nil, err
		case a.Status().Successful():
			return a, nil
		case picky(a.Status()) && names != nil:
			names = nil
		default:
			return nil, statusError(a.Status(), at)
		}
	}
}

// Job asks how one job is doing, where the printer answered before.
func (s *Session) Job(ctx context.Context, id int, names []string) (*Answer, error) {
	return s.must(ctx, request{operation: goippreq.OperationGetJobAttributes, attrs: []attr{
		{goippreq.AttributeJobID, id},
		{goippreq.AttributeRequestingUserName, userName},
		{goippreq.AttributeRequestedAttributes, names},
	}})
}

// JobList asks for attributes of the jobs that are not completed, at most
// MaxJobs, where the printer answered before. Names and owners are not even
// asked for unless they are wanted.
func (s *Session) JobList(ctx context.Context, attributes []string, names, owners bool) (*Answer, error) {
	attributes = slices.Clone(attributes)
	if names {
		attributes = append(attributes, jobName)
	}
	if owners {
		attributes = append(attributes, jobOwner)
	}
	return s.must(ctx, getJobs(attributes))
}

// must asks where the printer answered before; any answer but success is an
// error.
func (s *Session) must(ctx context.Context, r request) (*Answer, error) {
	a, at, err := s.ask(ctx, s.at, r)
	if err != nil {
		return nil, err
	}
	if !a.Status().Successful() {
		return nil, statusError(a.Status(), at)
	}
	return a, nil
}
