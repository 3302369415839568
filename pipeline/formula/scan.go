package formula

import (
	"errors"
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"github.com/expr-lang/expr/ast"
	"github.com/expr-lang/expr/file"
	"github.com/expr-lang/expr/parser"
	"github.com/expr-lang/expr/parser/lexer"

	"fascicle/catalog/fault"
)

// Limits keep a hostile study from exhausting the stack.
const (
	maxSource  = 10_000 // characters
	maxNesting = 100    // brackets within each other
)

// decimal is the only way to write a number: the parser would also take 012, 1_000, 0x1F and "5.".
var decimal = regexp.MustCompile(`^((0|[1-9][0-9]*)(\.[0-9]+)?|\.[0-9]+)([eE][+-]?[0-9]+)?$`)

// allowedOperators are those that the compiler knows; `and`, `?` and so on included.
var allowedOperators = []string{"and", "&&", "or", "||", "not", "!", "==", "!=", "<", "<=", ">", ">=", "in", "..",
	"+", "-", "*", "/", "^", "**", "%", "?", ":", "??", "matches", "contains", "startsWith", "endsWith", ",", "."}

// parse reads the source into expr-lang's tree, after everything that is refused outright has been found token by token, where
// its place and a remedy are known.
func parse(src string) (root ast.Node, err error) {
	if !utf8.ValidString(src) {
		return nil, &Error{Offset: validPrefix(src), Found: "bytes that are not UTF-8", Expected: "text in UTF-8", Remedy: "save the file as UTF-8"}
	}
	text := []rune(src)
	if len(text) > maxSource {
		return nil, &Error{Offset: maxSource, Found: fmt.Sprintf("an expression of %d characters", len(text)),
			Expected: fmt.Sprintf("at most %d", maxSource), Remedy: "split it into several named conditions or derived columns"}
	}
	tokens, err := scan(text)
	if err != nil {
		return nil, err
	}
	// The parser is somebody else's and the text is anybody's: a slip in it must not end the program.
	defer func() {
		if r := recover(); r != nil {
			root, err = nil, &Error{Found: "an expression that cannot be read", Expected: "a condition or a formula", Remedy: "simplify it"}
		}
	}()
	tree, perr := parser.Parse(src)
	if perr != nil {
		return nil, syntaxError(perr, text, tokens)
	}
	return tree.Node, nil
}

func validPrefix(src string) int {
	n := 0
	for i, r := range src {
		if r == utf8.RuneError && !strings.HasPrefix(src[i:], "\uFFFD") {
			break
		}
		n++
	}
	return n
}

// scan splits the source into tokens and refuses what no expression of a study may contain. The last token is the end.
func scan(text []rune) ([]lexer.Token, error) {
	lex := lexer.New()
	lex.Reset(file.NewSource(string(text)))
	var tokens []lexer.Token
	var open []lexer.Token // brackets not yet closed
	end := 0               // of the previous token
	for {
		t, err := lex.Next()
		if err != nil {
			return nil, lexicalError(err, text, end)
		}
		if t.Kind == lexer.EOF {
			if err := onlySpace(text, end, len(text)); err != nil {
				return nil, err
			}
			t.From, t.To = len(text), len(text)
			tokens = append(tokens, t)
			break
		}
		if err := onlySpace(text, end, t.From); err != nil {
			return nil, err
		}
		end = t.To
		tokens = append(tokens, t)
		if open, err = brackets(open, t); err != nil {
			return nil, err
		}
	}
	if len(open) > 0 {
		last := open[len(open)-1]
		return nil, &Error{Offset: last.From, Found: fmt.Sprintf("%q that is never closed", last.Value), Expected: fmt.Sprintf("its %q", closing(last.Value)),
			Remedy: "close it"}
	}
	if len(tokens) == 1 {
		return nil, &Error{Found: "nothing", Expected: "an expression", Remedy: `write one, such as chain == "long"`}
	}
	for i := range tokens {
		if err := refuse(text, tokens, i); err != nil {
			return nil, err
		}
	}
	return tokens, nil
}

// onlySpace refuses comments, which leave no token: a // b would silently be a.
func onlySpace(text []rune, from, to int) error {
	for i := from; i < to; i++ {
		if !unicode.IsSpace(text[i]) {
			return &Error{Offset: i, Found: fmt.Sprintf("a comment, %q", string(text[i:min(i+2, to)])), Expected: "an operator or the end of the expression",
				Remedy: "divide with a single /, and put comments behind # outside of the expression"}
		}
	}
	return nil
}

func closing(open string) string {
	if open == "(" {
		return ")"
	}
	return "]"
}

func brackets(open []lexer.Token, t lexer.Token) ([]lexer.Token, error) {
	if t.Kind != lexer.Bracket {
		return open, nil
	}
	switch t.Value {
	case "{", "}":
		return nil, &Error{Offset: t.From, Found: fmt.Sprintf("%q", t.Value), Expected: "a name, a number, a text, ( or [",
			Remedy: `maps and closures cannot be used here: list values in square brackets, as in role in ["dilution", "standard"]`}
	case "(", "[":
		if len(open) == maxNesting {
			return nil, &Error{Offset: t.From, Found: fmt.Sprintf("more than %d brackets within each other", maxNesting), Expected: "fewer",
				Remedy: "name a part of the expression as a condition or derived column"}
		}
		return append(open, t), nil
	}
	if len(open) == 0 {
		return nil, &Error{Offset: t.From, Found: fmt.Sprintf("%q without its opening bracket", t.Value), Expected: "an operator or the end of the expression",
			Remedy: "remove it, or open it"}
	}
	last := open[len(open)-1]
	if closing(last.Value) != t.Value {
		return nil, &Error{Offset: t.From, Found: fmt.Sprintf("%q", t.Value), Expected: fmt.Sprintf("%q for the %q at character %d", closing(last.Value), last.Value, last.From+1),
			Remedy: "close brackets in the order in which they were opened"}
	}
	return open[:len(open)-1], nil
}

// refuse checks the token at i against what the compiler knows.
func refuse(text []rune, tokens []lexer.Token, i int) error {
	t := tokens[i]
	called := i+1 < len(tokens) && tokens[i+1].Is(lexer.Bracket, "(")
	member := i > 0 && tokens[i-1].Is(lexer.Operator, ".")
	switch {
	case t.Kind == lexer.Number:
		return checkNumber(string(text[t.From:t.To]), t.From)
	case member && called:
		return &Error{Offset: t.From, Found: fmt.Sprintf("a call of %q on a name", t.Value), Expected: "a member, such as stock.violane",
			Remedy: "put the function in front: lower(chain)"}
	case member:
		return nil
	case t.Kind == lexer.Identifier && t.Value == "nil":
		return noNull(t)
	case t.Kind == lexer.Identifier && called:
		if _, ok := functions[t.Value]; ok {
			return nil
		}
		found, remedy := fault.Unknown("function", t.Value, functionNames())
		if remedy == "" {
			remedy = "use arithmetic, or derive the value in the sheet"
		}
		return &Error{Offset: t.From, Found: found, Expected: "one of " + strings.Join(functionNames(), ", "), Remedy: remedy}
	case t.Kind == lexer.Operator:
		return refuseOperator(t)
	}
	return nil
}

func noNull(t lexer.Token) error {
	return &Error{Offset: t.From, Found: "nil", Expected: "a value",
		Remedy: `what is compared with a missing value is itself unknown: give a default with ??, as in (substance ?? "") == ""`}
}

func refuseOperator(t lexer.Token) error {
	for _, op := range allowedOperators {
		if t.Value == op {
			return nil
		}
	}
	remedy := ""
	switch t.Value {
	case "=":
		remedy = "compare with =="
	case "&":
		remedy = "write && or and"
	case "|":
		remedy = "write || or or; there are no pipes"
	case "?.":
		remedy = "write stock.violane for a member; put a space behind the ? of c ? a : b"
	case ";", "let":
		remedy = "there are no variables: name a part of the expression as a condition or derived column"
	case "if", "else":
		remedy = "write c ? a : b"
	case "#", "##":
		remedy = "put a text that contains # in quotes; there are no closures"
	default:
		remedy = "separate operators with a space"
	}
	return &Error{Offset: t.From, Found: strconv.Quote(t.Value), Expected: "an operator such as == < && + *", Remedy: remedy}
}

// checkNumber refuses every way of writing a number but the plain decimal one.
func checkNumber(s string, at int) error {
	if decimal.MatchString(s) {
		if _, err := strconv.ParseFloat(s, 64); err != nil {
			return &Error{Offset: at, Found: s, Expected: "a number below 1.8e308", Remedy: "correct the exponent"}
		}
		if !strings.ContainsAny(s, ".eE") {
			if _, err := strconv.ParseInt(s, 10, 64); err != nil {
				return &Error{Offset: at, Found: s, Expected: "a whole number below 9.2e18", Remedy: "write it with an exponent, as in 1e20"}
			}
		}
		return nil
	}
	e := &Error{Offset: at, Found: fmt.Sprintf("the number %s", s), Expected: "a decimal number such as 12, 0.5 or 1e-3"}
	digits := strings.ReplaceAll(s, "_", "")
	switch {
	case strings.Contains(s, "_") && decimal.MatchString(digits):
		e.Remedy = "write " + digits
	case len(s) > 1 && s[0] == '0' && decimal.MatchString(strings.TrimLeft(s[:len(s)-1], "0")+s[len(s)-1:]):
		e.Remedy = fmt.Sprintf(`write %s, or "%s" if it is a text`, strings.TrimLeft(s[:len(s)-1], "0")+s[len(s)-1:], s)
	case decimal.MatchString(strings.TrimSuffix(s, ".")):
		e.Remedy = "write " + strings.TrimSuffix(s, ".")
	default:
		e.Remedy = "write it as a decimal number, or in quotes if it is a text"
	}
	return e
}

// lexicalError places what the lexer could not read. It stands behind the last good token, which ended at end.
func lexicalError(err error, text []rune, end int) error {
	at := end
	for at < len(text) && unicode.IsSpace(text[at]) {
		at++
	}
	message := err.Error()
	var fe *file.Error
	if errors.As(err, &fe) {
		message = fe.Message
	}
	e := &Error{Offset: at, Expected: "a name, a number, a text or an operator"}
	switch {
	case strings.HasPrefix(message, "literal not terminated"):
		e.Found, e.Expected, e.Remedy = "a text without its closing quote", "the same quote again", "close it"
	case strings.HasPrefix(message, "unclosed comment"):
		e.Found, e.Remedy = "a comment", "put comments behind # outside of the expression"
	case strings.HasPrefix(message, "bad number syntax") && at < len(text):
		word := wordAt(text, at)
		e.Found, e.Expected = fmt.Sprintf("%q", word), "a decimal number such as 12, 0.5 or 1e-3"
		e.Remedy = `put a quantity with its unit in quotes, as in "5 nm"; names begin with a letter`
	case strings.HasPrefix(message, "unrecognized character"):
		if fe != nil && fe.From >= at && fe.From < len(text) {
			at = fe.From
		}
		e.Offset, e.Found, e.Remedy = at, fmt.Sprintf("%q", string(text[at:min(at+1, len(text))])), "remove it, or put the text in quotes"
	default:
		e.Found, e.Expected, e.Remedy = "a text with an escape that is not known", `escapes such as \n, \", \\ or \u00b5`, `write \\ for a backslash`
	}
	return e
}

func wordAt(text []rune, at int) string {
	to := at
	for to < len(text) && (unicode.IsLetter(text[to]) || unicode.IsDigit(text[to]) || text[to] == '.' || text[to] == '_') {
		to++
	}
	return string(text[at:to])
}

// syntaxError says, from the tokens, what the parser stumbled over.
func syntaxError(err error, text []rune, tokens []lexer.Token) error {
	var fe *file.Error
	if !errors.As(err, &fe) {
		return &Error{Found: "an expression that cannot be read", Expected: "a condition or a formula", Remedy: err.Error()}
	}
	i := len(tokens) - 1
	for k, t := range tokens {
		if t.From >= fe.From && t.Kind != lexer.EOF {
			i = k
			break
		}
	}
	// The parser places the end on the last character.
	if strings.Contains(fe.Message, "EOF") {
		i = len(tokens) - 1
	}
	t := tokens[i]
	e := &Error{Offset: t.From, Found: fmt.Sprintf("%q", string(text[t.From:t.To])), Expected: "a name, a number, a text, ( or ["}
	if t.Kind == lexer.EOF {
		e.Found = "the end of the expression"
	}
	switch {
	case strings.Contains(fe.Message, "cannot be mixed"):
		e.Found += " beside ??"
		e.Expected, e.Remedy = "brackets around a ?? b", `write (a ?? b), as in (substance ?? "") == ""`
	case strings.Contains(fe.Message, "maximum allowed nodes"):
		e.Found, e.Expected, e.Remedy = "too many names, numbers and operators", "fewer", "split the expression into several named ones"
	case i > 0 && endsOperand(tokens[i-1]):
		e.Expected = "an operator or the end of the expression"
		e.Remedy = "put an operator such as && or * between the two, or a text of several words in quotes"
	case i == 0 || t.Kind == lexer.EOF:
		e.Remedy = "complete the expression"
	default:
		e.Remedy = fmt.Sprintf("complete what %q begins", tokens[i-1].Value)
	}
	return e
}

// endsOperand reports whether a value may end with the token.
func endsOperand(t lexer.Token) bool {
	return t.Kind == lexer.Identifier || t.Kind == lexer.Number || t.Kind == lexer.String || t.Is(lexer.Bracket, ")", "]")
}
