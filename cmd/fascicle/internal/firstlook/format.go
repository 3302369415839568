package firstlook

import (
	"fmt"
	"strings"
)

// dayOne writes a curve as the first instrument does: a header of remarks, blanks between columns, and a footer.
func dayOne(r row, c curve) []byte {
	var b strings.Builder
	fmt.Fprintf(&b, "# bench camera, ring averages\n# sample    %s\n# exposure  %d s\n# columns   q  I  u(I)\n\n", r.sample, seconds(r))
	for k := range c.q {
		fmt.Fprintf(&b, "  %.6e   %.6e   %.4e\n", c.q[k], c.i[k], c.u[k])
	}
	fmt.Fprintf(&b, "\n# %d points, end of file\n", len(c.q))
	return []byte(b.String())
}

// dayTwo writes a curve as the second instrument does: semicolons, decimal commas, a head line, Windows line ends, and a last
// line of its own.
func dayTwo(r row, c curve) []byte {
	var b strings.Builder
	fmt.Fprintf(&b, "Ring average;%s;\r\nExposure;%d s;\r\n;;\r\nq;I;sigma\r\n", r.sample, seconds(r))
	for k := range c.q {
		line := fmt.Sprintf("%.7f;%.6f;%.4e\r\n", c.q[k], c.i[k], c.u[k])
		b.WriteString(strings.ReplaceAll(line, ".", ","))
	}
	fmt.Fprintf(&b, "Points;%d;\r\n", len(c.q))
	return []byte(b.String())
}

// seconds of exposure, as the headers say it.
func seconds(r row) int {
	switch {
	case r.solvent():
		return 300 * patience
	case r.plate():
		return 1
	}
	return 300
}
