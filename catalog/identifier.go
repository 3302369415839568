package catalog

// IsIdentifier tells whether s may name a stage, field, constant, condition, column or value: letters a-z and A-Z, digits
// and `_`, not beginning with a digit. A reserved word is an identifier too; see Reserved.
func IsIdentifier(s string) bool {
	if s == "" {
		return false
	}
	for i := 0; i < len(s); i++ {
		c := s[i]
		letter := c == '_' || 'a' <= c && c <= 'z' || 'A' <= c && c <= 'Z'
		if !letter && (i == 0 || c < '0' || c > '9') {
			return false
		}
	}
	return true
}

// Reserved tells whether s is a word that no name may take: the program's own (item, sample, samples, all), or a word with
// a meaning of its own in an expression.
func Reserved(s string) bool {
	switch s {
	case "item", "sample", "samples", "all",
		"in", "not", "and", "or", "let", "matches", "contains",
		"startsWith", "endsWith", "if", "else", "true", "false", "nil":
		return true
	}
	return false
}
