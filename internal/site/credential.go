package site

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	"printround/internal/snmp"
)

// Limits of names and passphrases.
const (
	maxCommunity  = 127 // octets; longer ones need a length form that the SNMP library encodes wrongly
	minPassphrase = 8   // octets (RFC 3414 section 11.2)
	maxUser       = 32  // octets (RFC 3414 section 5, usmUserName)
	maxContext    = 32  // octets (RFC 3415 section 4, vacmContextName)
)

// authProtocols and privProtocols are what [snmp.Credential] knows: RFC 3414
// (MD5, SHA, DES), RFC 7860 (SHA-2), RFC 3826 (AES with 128 bits). AES with
// 192 and 256 bits was never standardised; the C forms extend the key in
// another way.
var (
	authProtocols = []string{"MD5", "SHA", "SHA224", "SHA256", "SHA384", "SHA512"}
	privProtocols = []string{"DES", "AES", "AES192", "AES256", "AES192C", "AES256C"}
)

// reference is a credential whose secrets have not been read yet.
type reference struct {
	credential            snmp.Credential
	community, auth, priv secretRef
}

// secretRef says where a secret is kept; the zero one means no secret.
type secretRef struct{ file, env string }

func (r secretRef) empty() bool { return r.file == "" && r.env == "" }

func (c *checker) credential(where string, raw *rawCredential, n int) reference {
	r := reference{}
	r.credential.Label = c.text(where+".label", raw.Label)
	if r.credential.Label == "" {
		r.credential.Label = fmt.Sprintf("credential %d", n+1)
	}
	switch raw.Version {
	case "1":
		r.credential.Version = snmp.V1
	case "2c":
		r.credential.Version = snmp.V2c
	case "3":
		r.credential.Version = snmp.V3
		c.userBased(where, raw, &r)
		return r
	case "":
		c.fail(where, "a credential without a version: wanted \"1\", \"2c\" or \"3\"")
		return r
	default:
		c.fail(where+".version", "version %q: wanted \"1\", \"2c\" or \"3\"", raw.Version)
		return r
	}
	r.community = c.secret(where, "community", raw.CommunityFile, raw.CommunityEnv)
	if r.community.empty() {
		c.fail(where, "version %s needs community_file or community_env", raw.Version)
	}
	c.foreign(where, raw.Version, map[string]string{
		"user": raw.User, "auth_protocol": raw.AuthProtocol, "auth_file": raw.AuthFile, "auth_env": raw.AuthEnv,
		"priv_protocol": raw.PrivProtocol, "priv_file": raw.PrivFile, "priv_env": raw.PrivEnv, "context": raw.Context,
	})
	return r
}

func (c *checker) userBased(where string, raw *rawCredential, r *reference) {
	c.foreign(where, "3", map[string]string{"community_file": raw.CommunityFile, "community_env": raw.CommunityEnv})
	k := &r.credential
	k.User, k.Context = raw.User, raw.Context
	if len(k.User) < 1 || len(k.User) > maxUser {
		c.fail(where+".user", "version 3 needs a user of 1 to %d octets", maxUser)
	}
	if len(k.Context) > maxContext {
		c.fail(where+".context", "context is longer than %d octets", maxContext)
	}
	k.AuthProtocol = c.protocol(where, "auth_protocol", raw.AuthProtocol, authProtocols)
	k.PrivProtocol = c.protocol(where, "priv_protocol", raw.PrivProtocol, privProtocols)
	r.auth = c.secret(where, "auth", raw.AuthFile, raw.AuthEnv)
	r.priv = c.secret(where, "priv", raw.PrivFile, raw.PrivEnv)
	c.pair(where, "auth", raw.AuthProtocol, r.auth)
	c.pair(where, "priv", raw.PrivProtocol, r.priv)
	if raw.PrivProtocol != "" && raw.AuthProtocol == "" {
		c.fail(where+".priv_protocol", "privacy without authentication does not exist (RFC 3411 section 3.4.3): set auth_protocol too")
	}
}

func (c *checker) protocol(where, key, value string, known []string) string {
	if value == "" {
		return ""
	}
	up := strings.ToUpper(value)
	if !slices.Contains(known, up) {
		c.fail(where+"."+key, "%s %q: wanted one of %s", key, value, strings.Join(known, ", "))
	}
	return up
}

// pair wants a protocol and its passphrase together.
func (c *checker) pair(where, what, protocol string, s secretRef) {
	if protocol != "" && s.empty() {
		c.fail(where, "%s_protocol needs %s_file or %s_env", what, what, what)
	}
	if protocol == "" && !s.empty() {
		c.fail(where, "%s_file or %s_env needs %s_protocol", what, what, what)
	}
}

func (c *checker) secret(where, what, file, env string) secretRef {
	if file != "" && env != "" {
		c.fail(where, "%s_file and %s_env: wanted one of them", what, what)
	}
	if strings.ContainsAny(env, "=\x00") {
		c.fail(where+"."+what+"_env", "this is no name of an environment variable")
		env = ""
	}
	if file != "" {
		file = c.beside(file)
	}
	return secretRef{file, env}
}

// foreign refuses keys that the version has no use for, so that nobody
// believes they do something.
func (c *checker) foreign(where, version string, values map[string]string) {
	for _, key := range sortedKeys(values) {
		if values[key] != "" {
			c.fail(where+"."+key, "%s does nothing in version %s", key, version)
		}
	}
}

func (r *reference) resolve(getenv func(string) (string, bool)) (snmp.Credential, error) {
	c := r.credential
	var err error
	if !r.community.empty() {
		if c.Community, err = r.community.community(getenv); err != nil {
			return snmp.Credential{}, err
		}
	}
	if !r.auth.empty() {
		if c.AuthPass, err = r.auth.passphrase(getenv); err != nil {
			return snmp.Credential{}, err
		}
	}
	if !r.priv.empty() {
		if c.PrivPass, err = r.priv.passphrase(getenv); err != nil {
			return snmp.Credential{}, err
		}
	}
	return c, nil
}

func sortedKeys[V any](m map[string]V) []string { return slices.Sorted(maps.Keys(m)) }
