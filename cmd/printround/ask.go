package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
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
	return answer(ctx, a.stdin)
}

// answer reads one line; the end of the input is a no.
func answer(ctx context.Context, in io.Reader) (bool, error) {
	line := make(chan string, 1)
	go func() {
		s, _ := bufio.NewReader(in).ReadString('\n')
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
