package store

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
)

// RecipeKey names a recipe: the SHA-256 of its lines.
type RecipeKey [32]byte

// ContentHash names an object: the SHA-256 of its bytes.
type ContentHash [32]byte

// String gives 64 hexadecimal digits in lower case.
func (k RecipeKey) String() string { return hex.EncodeToString(k[:]) }

// String gives 64 hexadecimal digits in lower case.
func (h ContentHash) String() string { return hex.EncodeToString(h[:]) }

// MarshalText gives the digits of String.
func (k RecipeKey) MarshalText() ([]byte, error) { return []byte(k.String()), nil }

// MarshalText gives the digits of String.
func (h ContentHash) MarshalText() ([]byte, error) { return []byte(h.String()), nil }

// UnmarshalText reads what MarshalText wrote.
func (k *RecipeKey) UnmarshalText(b []byte) error {
	return parseHex((*[32]byte)(k), string(b), "a recipe key")
}

// UnmarshalText reads what MarshalText wrote.
func (h *ContentHash) UnmarshalText(b []byte) error {
	return parseHex((*[32]byte)(h), string(b), "a content hash")
}

// ParseRecipeKey reads what String wrote.
func ParseRecipeKey(s string) (k RecipeKey, err error) {
	err = parseHex((*[32]byte)(&k), s, "a recipe key")
	return k, err
}

// ParseContentHash reads what String wrote.
func ParseContentHash(s string) (h ContentHash, err error) {
	err = parseHex((*[32]byte)(&h), s, "a content hash")
	return h, err
}

// HashBytes is the SHA-256 of b, for callers that read a file themselves.
func HashBytes(b []byte) ContentHash { return sha256.Sum256(b) }

func parseHex(dst *[32]byte, s, what string) error {
	var b [32]byte
	if !readHex(b[:], s) {
		return fmt.Errorf("store: found %.80q; expected %s of 64 hexadecimal digits in lower case", s, what)
	}
	*dst = b
	return nil
}

// readHex fills dst from exactly twice as many digits in lower case. It stands
// in for encoding/hex, which also takes capitals: an index line has one spelling.
func readHex(dst []byte, s string) bool {
	if len(s) != 2*len(dst) {
		return false
	}
	for i := range dst {
		hi, lo := digits[s[2*i]], digits[s[2*i+1]]
		if hi|lo > 15 {
			return false
		}
		dst[i] = hi<<4 | lo
	}
	return true
}

// digits gives the value of a hexadecimal digit in lower case, 255 for anything
// else. An index holds a hundred thousand of them and more. It is never written to.
var digits = func() (t [256]byte) {
	for c := range t {
		t[c] = 255
	}
	for v, c := range []byte(hexDigits) {
		t[c] = byte(v)
	}
	return t
}()
