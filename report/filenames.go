package report

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"strings"
)

// fileNames gives file names that no file system confuses: letters, digits and . _ = - only, not two that differ in case alone.
type fileNames struct{ taken map[string]bool }

// give makes dir + stem + "." + cleaned item + extension; a name that had to be changed, or is taken, bears a piece of the item's hash.
func (n *fileNames) give(dir, stem, item, extension string) string {
	const longest = 80
	clean := func(s string) string {
		return strings.Map(func(r rune) rune {
			switch {
			case r >= 'a' && r <= 'z', r >= 'A' && r <= 'Z', r >= '0' && r <= '9', r == '_', r == '=', r == '-', r == '.':
				return r
			case r == ',':
				return '.'
			}
			return '_'
		}, s)
	}
	stem = clean(stem)
	name := clean(item)
	if len(name) > longest {
		name = name[:longest]
	}
	whole := stem
	if name != "" {
		whole += "." + name
	}
	if name != strings.ReplaceAll(item, ",", ".") || n.taken[strings.ToLower(dir+whole)] {
		sum := sha256.Sum256([]byte(item))
		whole += "-" + hex.EncodeToString(sum[:4])
		for k := 2; n.taken[strings.ToLower(dir+whole)]; k++ { // the same item twice
			whole = fmt.Sprintf("%s.%s-%s-%d", stem, name, hex.EncodeToString(sum[:4]), k)
		}
	}
	n.taken[strings.ToLower(dir+whole)] = true
	return dir + whole + extension
}
