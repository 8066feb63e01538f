package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"strings"

	"printround/internal/term"
)

var errNobodyToAsk = errors.New("standard input is no terminal")

// ask puts a question to the person at the terminal and waits for y or n;
// anything but a yes is a no.
func (a *app) ask(ctx context.Context, question string) (bool, error) {
	if !term.IsTerminal(a.stdin) || !term.IsTerminal(a.stderr) {
		return false, errNobodyToAsk
	}
	fmt.Fprintf(a.stderr, "%s [y/N] ", term.Safe(question))
	line := make(chan string, 1)
	go func() {
		s, _ := bufio.NewReader(a.stdin).ReadString('\n') // the end of input is a no
		line <- s
	}()
	select {
	case s := <-line:
		s = strings.ToLower(strings.TrimSpace(s))
		return s == "y" || s == "yes", nil
	case <-ctx.Done():
		return false, context.Cause(ctx)
	}
}
