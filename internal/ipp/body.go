package ipp

import (
	"compress/gzip"
	"compress/zlib"
	"errors"
	"fmt"
	"io"
	"net/http"
	"strings"
)

// errCoding says that a body came in a content coding that cannot be undone.
var errCoding = errors.New("an answer in a content coding that cannot be read")

// readBody reads a body up to MaxMessage octets. A request that says nothing of
// content codings allows any (RFC 9110 section 12.5.3), so the usual ones are
// undone; the bound holds for what comes out.
func readBody(resp *http.Response) ([]byte, error) {
	body, err := decoded(resp)
	if err != nil {
		return nil, err
	}
	b, err := io.ReadAll(io.LimitReader(body, MaxMessage+1))
	if err == nil && len(b) > MaxMessage {
		err = ErrTooLarge
	}
	return b, err
}

func decoded(resp *http.Response) (io.Reader, error) {
	var r io.Reader
	var err error
	coding := strings.ToLower(strings.TrimSpace(resp.Header.Get("Content-Encoding")))
	switch coding {
	case "", "identity":
		return resp.Body, nil
	case "gzip", "x-gzip":
		r, err = gzip.NewReader(resp.Body)
	case "deflate":
		r, err = zlib.NewReader(resp.Body)
	default:
		return nil, fmt.Errorf("%w: %s", errCoding, ascii(coding, 40))
	}
	if err != nil {
		return nil, fmt.Errorf("%w: not valid %s: %w", errCoding, coding, err)
	}
	return r, nil
}
