package importing

// gapKind says why a cell holds no number.
type gapKind uint8

const (
	gapEmpty  gapKind = iota + 1 // nothing between two separators
	gapNull                      // NaN, NULL, NA and their like
	gapOver                      // a mark for over-range
	gapBeyond                    // a number beyond the range of a float64
)

func (k gapKind) String() string {
	switch k {
	case gapEmpty:
		return "empty cell"
	case gapNull:
		return "NaN or NULL"
	case gapOver:
		return "over-range mark"
	}
	return "number beyond the range of a 64-bit float"
}

// absent says that there is nothing in place of the number, where another gap holds a number that is not known.
func (k gapKind) absent() bool { return k == gapEmpty || k == gapNull }

// markOf recognises the words that instruments write in place of a number.
// tok has no blanks around it; 0 means that it is none of them.
func markOf(tok []byte) gapKind {
	for len(tok) >= 2 && tok[0] == '"' && tok[len(tok)-1] == '"' {
		tok = tok[1 : len(tok)-1]
	}
	if len(tok) == 0 {
		return gapEmpty
	}
	if len(tok) > 32 {
		return 0
	}
	var low [32]byte
	s := low[:len(tok)]
	var hash, star, cross, dash, point int
	for i, c := range tok {
		if c >= 'A' && c <= 'Z' {
			c += 'a' - 'A'
		}
		s[i] = c
		switch c {
		case '#':
			hash++
		case '*':
			star++
		case 'x':
			cross++
		case '-':
			dash++
		case '.', ',':
			point++
		}
	}
	switch n := len(s); {
	case hash == n && n >= 2, star >= 2 && star+point == n, cross >= 3 && cross+point == n:
		return gapOver
	case dash == n && n >= 2:
		return gapNull
	}
	word := string(s)
	if word[0] == '+' || word[0] == '-' {
		word = word[1:]
	}
	switch word {
	case "nan", "null", "na", "n/a", "none", "1.#qnan", "1.#ind", "nan(ind)":
		return gapNull
	case "over", "overflow", "ovrflw", "ovfl", "saturated", "inf", "infinity", "1.#inf":
		return gapOver
	}
	return 0
}
