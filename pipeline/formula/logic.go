package formula

// truth is a value of three-valued logic.
type truth uint8

const (
	no truth = iota
	yes
	unknown
)

func truthOf(b bool) truth {
	if b {
		return yes
	}
	return no
}

// The strong tables of S. C. Kleene, Introduction to Metamathematics (1952), §64. The right side is not worked out where the
// left one decides.

func negate(a func(Env) truth) func(Env) truth {
	return func(env Env) truth {
		switch a(env) {
		case no:
			return yes
		case yes:
			return no
		}
		return unknown
	}
}

func conjunction(a, b func(Env) truth) func(Env) truth {
	return func(env Env) truth {
		l := a(env)
		if l == no {
			return no
		}
		r := b(env)
		switch {
		case r == no:
			return no
		case l == unknown || r == unknown:
			return unknown
		}
		return yes
	}
}

func disjunction(a, b func(Env) truth) func(Env) truth {
	return func(env Env) truth {
		l := a(env)
		if l == yes {
			return yes
		}
		r := b(env)
		switch {
		case r == yes:
			return yes
		case l == unknown || r == unknown:
			return unknown
		}
		return no
	}
}

// anyOf is the disjunction of a list.
func anyOf(terms []func(Env) truth) func(Env) truth {
	return func(env Env) truth {
		out := no
		for _, t := range terms {
			switch t(env) {
			case yes:
				return yes
			case unknown:
				out = unknown
			}
		}
		return out
	}
}
