package agent

import (
	"crypto/aes"
	"crypto/cipher"
	"crypto/des"
	"crypto/hmac"
	"crypto/md5"
	"crypto/sha1"
	"crypto/sha256"
	"crypto/sha512"
	"encoding/binary"
	"errors"
	"fmt"
	"hash"
	"strings"
	"sync/atomic"
)

// User is one user of the User-based Security Model with keys made for one
// engine.
type User struct {
	Name string
	auth *authProtocol // nil: noAuthNoPriv
	priv string        // "", or one of privKeys
	akey []byte
	pkey []byte
	salt atomic.Uint64
}

type authProtocol struct {
	hash func() hash.Hash
	mac  int // octets of msgAuthenticationParameters
}

// authProtocols: RFC 3414 section 6 and 7, RFC 7860 section 4.1.
var authProtocols = map[string]*authProtocol{
	"MD5":    {md5.New, 12},
	"SHA":    {sha1.New, 12},
	"SHA224": {sha256.New224, 16},
	"SHA256": {sha256.New, 24},
	"SHA384": {sha512.New384, 32},
	"SHA512": {sha512.New, 48},
}

// privKeys are the privacy protocols by the octets of key that they take: DES
// (RFC 3414 section 8.1.1.1), AES (RFC 3826 section 1.2), and AES with longer
// keys, which no standard has. AES192 and AES256 lengthen a key that is too
// short as draft-blumenthal-aes-usm-04 section 3.1.2.1 has it; those with a C
// as draft-reeder-snmpv3-usm-3desede-00 section 2.1 has it for another cipher.
var privKeys = map[string]int{"DES": 16, "AES": 16, "AES192": 24, "AES256": 32, "AES192C": 24, "AES256C": 32}

// NewUser returns a user of the engine. auth is empty or one of MD5, SHA,
// SHA224, SHA256, SHA384, SHA512; priv is empty or one of DES, AES, AES192,
// AES256, AES192C and AES256C. Passwords have at least 8 octets (RFC 3414
// section 11.2).
func NewUser(name string, engineID []byte, auth, authPassword, priv, privPassword string) (*User, error) {
	u := &User{Name: name, priv: strings.ToUpper(priv)}
	if auth == "" {
		if priv != "" {
			return nil, errors.New("privacy needs authentication")
		}
		return u, nil
	}
	p, ok := authProtocols[strings.ToUpper(auth)]
	if !ok {
		return nil, fmt.Errorf("authentication protocol %q is not known", auth)
	}
	if len(authPassword) < 8 || priv != "" && len(privPassword) < 8 {
		return nil, errors.New("a password has at least 8 characters")
	}
	u.auth = p
	u.akey = localKey(p.hash, authPassword, engineID)
	if u.priv == "" {
		return u, nil
	}
	need, ok := privKeys[u.priv]
	if !ok {
		return nil, fmt.Errorf("privacy protocol %q is not known", priv)
	}
	u.pkey = privKey(p.hash, privPassword, engineID, need, strings.HasSuffix(u.priv, "C"))
	return u, nil
}

// privKey is a localised key of so many octets. One that is too short goes on
// with the hash of what there is, or, chained, with the key that is made of its
// last part as of a password.
func privKey(newHash func() hash.Hash, password string, engineID []byte, octets int, chained bool) []byte {
	key := localKey(newHash, password, engineID)
	for last := key; len(key) < octets; key = append(key, last...) {
		if chained {
			last = localKey(newHash, string(last), engineID)
			continue
		}
		h := newHash()
		h.Write(key)
		last = h.Sum(nil)
	}
	return key[:octets]
}

// localKey turns a password into a key for one engine (RFC 3414 section 2.6
// and appendix A.2).
func localKey(newHash func() hash.Hash, password string, engineID []byte) []byte {
	h := newHash()
	const megabyte = 1 << 20
	block := []byte(strings.Repeat(password, 64/len(password)+2))
	for done, at := 0, 0; done < megabyte; done += 64 {
		h.Write(block[at : at+64])
		at = (at + 64) % len(password)
	}
	ku := h.Sum(nil)
	h.Reset()
	h.Write(ku)
	h.Write(engineID)
	h.Write(ku)
	return h.Sum(nil)
}

// mac computes the digest of a whole message whose authentication parameters
// are zero.
func (u *User) mac(message []byte) []byte {
	m := hmac.New(u.auth.hash, u.akey)
	m.Write(message)
	return m.Sum(nil)[:u.auth.mac]
}

// encrypt returns the encrypted scoped PDU and the privacy parameters.
func (u *User) encrypt(scoped []byte, boots, engineTime int32) (out, params []byte, err error) {
	salt := u.salt.Add(1)
	params = make([]byte, 8)
	if u.priv != "DES" {
		binary.BigEndian.PutUint64(params, salt)
		out = append(out, scoped...)
		return out, params, aesCFB(u.pkey, boots, engineTime, params, out, true)
	}
	binary.BigEndian.PutUint32(params, uint32(boots))
	binary.BigEndian.PutUint32(params[4:], uint32(salt))
	out = append(out, scoped...)
	for len(out)%des.BlockSize != 0 {
		out = append(out, 0)
	}
	c, iv, err := desCBC(u.pkey, params)
	if err != nil {
		return nil, nil, err
	}
	cipher.NewCBCEncrypter(c, iv).CryptBlocks(out, out)
	return out, params, nil
}

// decrypt returns the scoped PDU.
func (u *User) decrypt(in, params []byte, boots, engineTime int32) ([]byte, error) {
	if len(params) != 8 {
		return nil, errMalformed
	}
	out := append([]byte(nil), in...)
	if u.priv != "DES" {
		return out, aesCFB(u.pkey, boots, engineTime, params, out, false)
	}
	if len(in) == 0 || len(in)%des.BlockSize != 0 {
		return nil, errMalformed
	}
	c, iv, err := desCBC(u.pkey, params)
	if err != nil {
		return nil, err
	}
	cipher.NewCBCDecrypter(c, iv).CryptBlocks(out, out)
	return out, nil
}

// desCBC prepares CBC-DES (RFC 3414 section 8.1.1): the second half of the key
// is mixed with the salt.
func desCBC(key, salt []byte) (cipher.Block, []byte, error) {
	c, err := des.NewCipher(key[:8])
	if err != nil {
		return nil, nil, err
	}
	iv := make([]byte, 8)
	for i := range iv {
		iv[i] = key[8+i] ^ salt[i]
	}
	return c, iv, nil
}

// aesCFB runs CFB128-AES over data in place (RFC 3826 section 3.1.2).
func aesCFB(key []byte, boots, engineTime int32, salt, data []byte, encrypt bool) error {
	c, err := aes.NewCipher(key)
	if err != nil {
		return err
	}
	var register, stream [aes.BlockSize]byte
	binary.BigEndian.PutUint32(register[0:], uint32(boots))
	binary.BigEndian.PutUint32(register[4:], uint32(engineTime))
	copy(register[8:], salt)
	for len(data) > 0 {
		c.Encrypt(stream[:], register[:])
		n := min(len(data), aes.BlockSize)
		for i := range n {
			in := data[i]
			data[i] ^= stream[i]
			if encrypt {
				in = data[i]
			}
			register[i] = in
		}
		data = data[n:]
	}
	return nil
}
