package lab

import (
	"context"
	"errors"
	"strings"
	"testing"
	"time"
)

// TestTurns: two labs that announce themselves stand apart; one that ends soon
// is waited for. Other processes may hold numbers as well.
func TestTurns(t *testing.T) {
	ctx := context.Background()
	first, err := takeTurn(ctx, true)
	if err != nil {
		t.Fatal(err)
	}
	second, err := takeTurn(ctx, true)
	if err != nil {
		t.Fatal(err)
	}
	if first.number == second.number {
		t.Errorf("both have number %d", first.number)
	}
	if got := holder(ctx, turnAddr(first.number)); got != staying {
		t.Errorf("the holder says %q", got)
	}
	second.giveBack()
	first.giveBack()

	passes, err := takeTurn(ctx, false)
	if err != nil {
		t.Fatal(err)
	}
	if got := holder(ctx, turnAddr(passes.number)); got != passing {
		t.Errorf("the holder says %q", got)
	}
	if passes.number == 0 {
		short, cancel := context.WithTimeout(ctx, 3*turnPoll)
		defer cancel()
		if third, err := takeTurn(short, false); err == nil {
			if third.number == 0 {
				t.Error("number 0 is held twice")
			}
			third.giveBack()
		}
		gone, cancelGone := context.WithCancel(ctx)
		time.AfterFunc(3*turnPoll, cancelGone)
		if third, err := takeTurn(gone, false); !errors.Is(err, context.Canceled) {
			if err == nil {
				third.giveBack()
			}
			t.Errorf("cancelled while it waits: %v", err)
		}
	}
	passes.giveBack()
}

func TestRenumber(t *testing.T) {
	s, err := loadScenario()
	if err != nil {
		t.Fatal(err)
	}
	s.renumber(3)
	if err := s.check(); err != nil {
		t.Fatal(err)
	}
	for _, p := range s.Devices {
		if !strings.HasPrefix(p.Address, "127.23.") || p.Second != "" && !strings.HasPrefix(p.Second, "127.23.") {
			t.Errorf("%s stands at %s %s", p.Name, p.Address, p.Second)
		}
	}
	for _, b := range s.Branches {
		if !strings.HasPrefix(b.Targets[0], "127.23.") {
			t.Errorf("%s: targets %v", b.Name, b.Targets)
		}
	}
	if got := s.Branches[0].Skip[0]; got != "127.23.1.60-127.23.1.62" {
		t.Errorf("skip %s", got)
	}
}
