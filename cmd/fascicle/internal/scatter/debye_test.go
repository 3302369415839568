package scatter

import (
	"fmt"
	"math"
	"testing"
)

func near(t *testing.T, got, want, relative float64) {
	t.Helper()
	if !(math.Abs(got-want) <= relative*math.Abs(want)) {
		t.Errorf("got %.12g, want %.12g within %g of it", got, want, relative)
	}
}

func TestDebye(t *testing.T) {
	// Values of the closed form with SciPy; 2/e and the limits are identities.
	// P. Debye, J. Phys. Colloid Chem. 51 (1947) 18.
	for _, c := range []struct{ x, want float64 }{
		{0, 1}, {0.01, 0.996674983362}, {0.1, 0.967483607192}, {0.5, 0.852245277701}, {1, 2 / math.E},
		{2, 0.567667641618}, {3, 0.455508237415}, {5, 0.32053903576}, {10, 0.180000907999}, {100, 0.0198},
		{2.556929086, 0.5},
	} {
		t.Run(fmt.Sprint(c.x), func(t *testing.T) { near(t, Debye(c.x), c.want, 5e-10) })
	}
	t.Run("series meets closed form", func(t *testing.T) {
		const x = 1e-2
		near(t, Debye(math.Nextafter(x, 0)), 2*(math.Expm1(-x)+x)/(x*x), 1e-12)
	})
}
