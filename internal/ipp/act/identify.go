package act

import (
	"context"
	"slices"

	"github.com/OpenPrinting/goipp"
	goippreq "github.com/phin1x/go-ipp"

	"printround/internal/ipp"
)

// identifyActions are what Identify-Printer may be asked for (PWG 5100.13
// section 5.4.5), in the order in which they help to find a box. speak is left
// out: it reads a text aloud in an office.
var identifyActions = []string{"flash", "sound", "display"}

// IdentifyActions asks for what the printer does to be found, of flash, sound
// and display; nil when Identify-Printer is not offered. A printer that offers
// the operation and names no action decides by itself: the list is then empty
// and not nil.
func (p *Printer) IdentifyActions(ctx context.Context) ([]string, error) {
	if o := p.Offer(); !o.Can(goippreq.OperationIdentifyPrinter) {
		return nil, nil
	}
	a, err := p.s.Ask(ctx, []string{"identify-actions-supported"})
	if err != nil {
		return nil, err
	}
	offered := a.First(ipp.PrinterGroup).Texts("identify-actions-supported")
	actions := []string{}
	for _, known := range identifyActions {
		if slices.Contains(offered, known) {
			actions = append(actions, known)
		}
	}
	return actions, nil
}

// Identify makes the printer show itself (Identify-Printer, PWG 5100.13 section
// 4.1.1). The message, for a printer that displays one, may be empty.
func (p *Printer) Identify(ctx context.Context, actions []string, message string) error {
	var op goipp.Attributes
	if len(actions) > 0 {
		words := make([]goipp.Value, len(actions))
		for i, a := range actions {
			words[i] = goipp.String(a)
		}
		op.Add(goipp.MakeAttr("identify-actions", goipp.TagKeyword, words[0], words[1:]...))
	}
	if message != "" && slices.Contains(actions, "display") {
		op.Add(goipp.MakeAttribute("message", goipp.TagText, goipp.String(message)))
	}
	a, err := p.s.Operate(ctx, ipp.Command{Code: goippreq.OperationIdentifyPrinter, Operation: op, Wait: patience})
	if err != nil {
		return err
	}
	return refusal(a)
}
