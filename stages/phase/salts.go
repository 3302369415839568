package phase

import (
	"fmt"
	"strings"
)

// Salt is a fully dissociated salt of one sort of cation and one sort of anion.
type Salt struct {
	Cation, Anion   string // formulas without charge
	Cations, Anions int    // of one formula unit
	Plus, Minus     int    // charge numbers, both positive
}

// Strength gives the ionic strength of a solution of 1 mol/L:
//
//	I/c = ½·Σ ν·z²
//
// Source: Lewis and Randall, J. Am. Chem. Soc. 43 (1921) 1112 (from memory).
func (s Salt) Strength() float64 {
	return 0.5 * float64(s.Cations*s.Plus*s.Plus+s.Anions*s.Minus*s.Minus)
}

type ion struct {
	formula string
	charge  int
	groups  bool // of several atoms: in brackets when there are more than one
}

// The ions of which salts are made up. Two metals of more than one usual charge stand twice: the formula tells which is meant.
var cations = [...]ion{
	{"H", 1, false}, {"Li", 1, false}, {"Na", 1, false}, {"K", 1, false}, {"Rb", 1, false}, {"Cs", 1, false}, {"Ag", 1, false},
	{"NH4", 1, true}, {"N(CH3)4", 1, true},
	{"Mg", 2, false}, {"Ca", 2, false}, {"Sr", 2, false}, {"Ba", 2, false}, {"Mn", 2, false}, {"Fe", 2, false}, {"Co", 2, false},
	{"Ni", 2, false}, {"Cu", 2, false}, {"Zn", 2, false}, {"Cd", 2, false}, {"Pb", 2, false},
	{"Al", 3, false}, {"Fe", 3, false}, {"Cr", 3, false}, {"La", 3, false}, {"Ce", 3, false}, {"Gd", 3, false}, {"Tb", 3, false}, {"Y", 3, false},
	{"Co(NH3)6", 3, true},
}

var anions = [...]ion{
	{"F", 1, false}, {"Cl", 1, false}, {"Br", 1, false}, {"I", 1, false}, {"OH", 1, true}, {"NO3", 1, true}, {"NO2", 1, true}, {"ClO4", 1, true},
	{"ClO3", 1, true}, {"BrO3", 1, true}, {"SCN", 1, true}, {"BF4", 1, true}, {"PF6", 1, true}, {"HCO3", 1, true}, {"HSO4", 1, true}, {"H2PO4", 1, true},
	{"CH3COO", 1, true}, {"HCOO", 1, true}, {"N3", 1, true},
	{"SO4", 2, true}, {"SO3", 2, true}, {"S2O3", 2, true}, {"CO3", 2, true}, {"HPO4", 2, true}, {"CrO4", 2, true}, {"C2O4", 2, true},
	{"PO4", 3, true}, {"C6H5O7", 3, true}, {"Fe(CN)6", 3, true}, {"Fe(CN)6", 4, true},
}

// ReadSalt finds the ions of a salt from its formula: NaCl, CaCl2, Na2SO4,
// (NH4)2SO4, CH3COONa. Water of crystallisation behind a dot does not count,
// and lowered figures (₂) are as good as plain ones. A formula is known when
// it is what a cation and an anion of the tables above make up between them as
// a neutral whole.
func ReadSalt(formula string) (Salt, error) {
	want := plainFormula(formula)
	for _, c := range cations {
		for _, a := range anions {
			d := gcd(c.charge, a.charge)
			s := Salt{Cation: c.formula, Anion: a.formula, Cations: a.charge / d, Anions: c.charge / d, Plus: c.charge, Minus: a.charge}
			first, second := times(c, s.Cations), times(a, s.Anions)
			if want == first+second || want == second+first && strings.HasSuffix(a.formula, "COO") {
				return s, nil
			}
		}
	}
	return Salt{}, fmt.Errorf("the salt %q is not known; expected the formula of a simple salt, such as NaCl, CaCl2 or (NH4)2SO4", formula)
}

func times(i ion, n int) string {
	switch {
	case n == 1:
		return i.formula
	case i.groups:
		return fmt.Sprintf("(%s)%d", i.formula, n)
	}
	return fmt.Sprintf("%s%d", i.formula, n)
}

// plainFormula takes off water of crystallisation, blanks and square brackets, and lifts lowered figures.
func plainFormula(s string) string {
	s, _, _ = strings.Cut(s, "·")
	s, _, _ = strings.Cut(s, "*")
	s, _, _ = strings.Cut(s, ".")
	return strings.Map(func(r rune) rune {
		switch {
		case r >= '₀' && r <= '₉':
			return '0' + r - '₀'
		case r == ' ', r == '[', r == ']':
			return -1
		}
		return r
	}, s)
}

func gcd(a, b int) int {
	for b != 0 {
		a, b = b, a%b
	}
	return a
}
