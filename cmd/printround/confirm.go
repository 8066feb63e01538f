package main

import (
	"context"
	"errors"
)

// errDeclined is the answer no.
var errDeclined = errors.New("nothing was done")

// confirm says what is about to be done to a device and asks whether to do it.
// Where there is nobody to ask it refuses, unless yes was given beforehand. No answer but yes lets it go on.
func (a *app) confirm(ctx context.Context, yes bool, lines []string, question string) error {
	for _, l := range lines {
		a.note(l)
	}
	if yes {
		return nil
	}
	ok, err := a.ask(ctx, question)
	switch {
	case errors.Is(err, errNobodyToAsk):
		return &usageError{message: "this changes something at a device, and there is nobody to ask", hint: "add --yes to do it without being asked"}
	case err != nil:
		return err
	case !ok:
		return errDeclined
	}
	return nil
}
