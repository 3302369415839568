package report

import (
	"math"
	"slices"
	"strings"

	"fascicle/pipeline"
)

// tex is the table as plain LaTeX: value(u) as text, units in the heads, and below it what a reader must know of its numbers.
func (w *writer) tex(t *askedTable) []byte {
	var b strings.Builder
	b.WriteString("% Needs UTF-8 and no package.\n\\begin{table}\n\\centering\n")
	if t.Caption != "" {
		b.WriteString("\\caption{" + texText(t.Caption) + "}\n")
	}
	b.WriteString("\\label{tab:" + t.Name + "}\n\\begin{tabular}{")
	for _, c := range t.columns {
		if c.number {
			b.WriteByte('r')
		} else {
			b.WriteByte('l')
		}
	}
	b.WriteString("}\n\\hline\n")
	for k, c := range t.columns {
		if k > 0 {
			b.WriteString(" & ")
		}
		b.WriteString(texText(c.label))
		if unit := w.symbol(c.unit); c.number && unit != "" {
			b.WriteString(" (" + texText(unit) + ")")
		}
	}
	b.WriteString(" \\\\\n\\hline\n")
	flagged, incomplete, unsure := false, false, false
	for i, x := range t.rows {
		mark := slices.ContainsFunc(t.flags, func(it pipeline.ItemOutcome) bool { return it.Name == x.it.Name && it.Output == x.it.Output })
		for k, c := range t.columns {
			if k > 0 {
				b.WriteString(" & ")
			}
			v := t.cells[i][k]
			if v == nil {
				b.WriteString("--")
			} else {
				bare := *v
				bare.Unit = ""
				b.WriteString(texText(w.plainValue(&bare)))
				if c.number && len(v.Unknown) > 0 {
					b.WriteString(`$^{\ddagger}$`)
					incomplete = true
				}
				if c.number && !v.Exact && v.Bound == "" && v.Value != nil && math.IsNaN(knownU(v)) {
					unsure = true
				}
			}
			if mark && k == 0 {
				b.WriteString(`$^{\dagger}$`)
				flagged = true
			}
		}
		b.WriteString(" \\\\\n")
	}
	b.WriteString("\\hline\n\\end{tabular}\n")
	for _, note := range w.tableNotes(t, flagged, incomplete, unsure) {
		b.WriteString("\\par\\smallskip{\\footnotesize " + note + "}\n")
	}
	b.WriteString("\\end{table}\n")
	return []byte(b.String())
}

// tableNotes are the notes below a table in LaTeX.
func (w *writer) tableNotes(t *askedTable, flagged, incomplete, unsure bool) (notes []string) {
	if slices.ContainsFunc(t.columns, func(c askedColumn) bool { return c.number && (c.u || c.unknown) }) {
		notes = append(notes, "Brackets hold the standard uncertainty in the last digits.")
	}
	if unsure {
		notes = append(notes, "The uncertainty of numbers without brackets is not known, unless they are counts or set values.")
	}
	if incomplete {
		notes = append(notes, `$^{\ddagger}$ The uncertainty lacks a part that is not known.`)
	}
	if flagged {
		var words []string
		for _, it := range t.flags {
			for _, f := range it.Flags {
				if raises(f.Level) {
					words = append(words, texText(shortItem(&it)+": "+f.Text))
				}
			}
		}
		notes = append(notes, `$^{\dagger}$ `+strings.Join(words, "; ")+".")
	}
	for _, m := range t.missing {
		notes = append(notes, "-- "+texText(m)+".")
	}
	return notes
}

var texSpecial = map[rune]string{
	'\\': `\textbackslash{}`, '{': `\{`, '}': `\}`, '$': `\$`, '&': `\&`, '#': `\#`, '%': `\%`, '_': `\_`, '~': `\textasciitilde{}`, '^': `\textasciicircum{}`,
	'<': `$<$`, '>': `$>$`, '−': `$-$`, '–': `--`, '·': `$\cdot$`, '×': `$\times$`, '±': `$\pm$`, '°': `$^{\circ}$`, 'µ': `$\mu$`, 'μ': `$\mu$`, '‡': `$\ddagger$`, '†': `$\dagger$`,
	'Å': `\AA{}`, 'Ω': `$\Omega$`, '⟨': `$\langle$`, '⟩': `$\rangle$`, '≤': `$\leq$`, '≥': `$\geq$`, '→': `$\to$`, '\u00a0': `~`, '\u2009': `\,`, '…': `\ldots{}`,
	'α': `$\alpha$`, 'β': `$\beta$`, 'χ': `$\chi$`, 'τ': `$\tau$`, 'ε': `$\varepsilon$`, 'λ': `$\lambda$`, 'ν': `$\nu$`, 'ξ': `$\xi$`, 'ρ': `$\rho$`, 'σ': `$\sigma$`, 'φ': `$\varphi$`,
}

// texText writes text so that LaTeX shows it as it is.
func texText(s string) string {
	var b strings.Builder
	runes := []rune(s)
	for i := 0; i < len(runes); i++ {
		r := runes[i]
		if raised := raisedOf(r); raised != 0 {
			b.WriteString(`$^{`)
			for ; i < len(runes) && raisedOf(runes[i]) != 0; i++ {
				b.WriteRune(raisedOf(runes[i]))
			}
			i--
			b.WriteString(`}$`)
			continue
		}
		if k := strings.IndexRune("₀₁₂₃₄₅₆₇₈₉", r); k >= 0 {
			b.WriteString(`$_{` + string(rune('0'+k/3)) + `}$`)
			continue
		}
		if t, ok := texSpecial[r]; ok {
			b.WriteString(t)
			continue
		}
		if r < 0x20 {
			r = ' '
		}
		b.WriteRune(r)
	}
	return b.String()
}

// raisedOf is the digit or sign that a raised one stands for, 0 for any other rune.
func raisedOf(r rune) rune {
	if r == '⁻' {
		return '-'
	}
	for k, d := range []rune("⁰¹²³⁴⁵⁶⁷⁸⁹") {
		if r == d {
			return rune('0' + k)
		}
	}
	return 0
}
