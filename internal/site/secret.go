package site

import (
	"errors"
	"fmt"
	"io"
	"os"
	"strings"

	"printround/internal/snmp"
)

// maxSecret bounds a secret file, in bytes.
const maxSecret = 4096

// ReadCommunity reads the community that the file at path holds and returns
// it as a credential of version 2c under that label. Errors are one line, say
// what to do, and never quote the secret.
func ReadCommunity(label, path string) (snmp.Credential, error) {
	s, err := secretRef{file: path}.community(nil)
	if err != nil {
		return snmp.Credential{}, err
	}
	return snmp.Credential{Label: label, Version: snmp.V2c, Community: s}, nil
}

func (r secretRef) community(getenv func(string) (string, bool)) (snmp.Secret, error) {
	s, err := r.read(getenv)
	if err != nil {
		return "", err
	}
	if len(s) > maxCommunity {
		return "", fmt.Errorf("%s: the community has %d octets, at most %d can be used", r, len(s), maxCommunity)
	}
	return snmp.Secret(s), nil
}

func (r secretRef) passphrase(getenv func(string) (string, bool)) (snmp.Secret, error) {
	s, err := r.read(getenv)
	if err != nil {
		return "", err
	}
	if len(s) < minPassphrase {
		return "", fmt.Errorf("%s: the passphrase is shorter than %d octets (RFC 3414 section 11.2)", r, minPassphrase)
	}
	return snmp.Secret(s), nil
}

// String says where the secret is kept, never what it is.
func (r secretRef) String() string {
	if r.env != "" {
		return "environment variable " + r.env
	}
	return "secret file " + r.file
}

func (r secretRef) read(getenv func(string) (string, bool)) (string, error) {
	if r.env == "" {
		return readSecretFile(r.file)
	}
	s, ok := getenv(r.env)
	if !ok {
		return "", fmt.Errorf("environment variable %s is not set", r.env)
	}
	return oneLine(r.String(), s)
}

// readSecretFile reads a secret from a file that others on this machine cannot
// read. The check is made on the open file, so that it holds for what is read.
func readSecretFile(path string) (string, error) {
	where := secretRef{file: path}.String()
	f, err := os.Open(path)
	if err != nil {
		return "", fmt.Errorf("%s: %w", where, cause(err))
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return "", fmt.Errorf("%s: %w", where, cause(err))
	}
	if info.IsDir() {
		return "", fmt.Errorf("%s: this is a folder", where)
	}
	if worldReadable(info) {
		return "", fmt.Errorf("%s: everybody on this machine can read it: chmod 600 it", where)
	}
	b, err := io.ReadAll(io.LimitReader(f, maxSecret+1))
	if err != nil {
		return "", fmt.Errorf("%s: %w", where, cause(err))
	}
	if len(b) > maxSecret {
		return "", fmt.Errorf("%s: longer than %d bytes: this is no secret file", where, maxSecret)
	}
	return oneLine(where, string(b))
}

// oneLine trims the line end that editors and echo leave behind, and the byte
// order mark that some editors put in front: a secret with either of them
// would fail without a visible reason.
func oneLine(where, s string) (string, error) {
	s = strings.TrimPrefix(s, "\ufeff")
	s = strings.TrimRight(s, "\r\n")
	if s == "" {
		return "", fmt.Errorf("%s: empty", where)
	}
	if strings.ContainsAny(s, "\r\n\x00") {
		return "", fmt.Errorf("%s: more than one line: wanted the secret alone", where)
	}
	return s, nil
}

// readBounded reads a whole file of at most max bytes.
func readBounded(path string, max int64) ([]byte, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	b, err := io.ReadAll(io.LimitReader(f, max+1))
	if err != nil {
		return nil, err
	}
	if int64(len(b)) > max {
		return nil, errors.New("longer than a site file can be")
	}
	return b, nil
}
