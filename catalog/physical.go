package catalog

import (
	"math"
	"math/big"
	"strconv"

	"fascicle/catalog/fault"
)

// Constants that define the SI since 2019, exact (SI brochure, 9th edition (2019), section 2.2, from memory).
const (
	planckConstant = "6.62607015e-34" // J s
	speedOfLight   = "299792458"      // m/s
)

// planckTimesLight is h·c in J·m.
func planckTimesLight() *big.Rat {
	return new(big.Rat).Mul(mustRat(planckConstant), mustRat(speedOfLight))
}

var (
	dWavenumber = Dimension{dimLength: -1}
	dMassConc   = Dimension{dimLength: -3, dimMass: 1}
)

// PhotonConversion takes a wavelength in vacuum (dimension L), a photon's energy, and a wavenumber (dimension L⁻¹: ν̃ = 1/λ, and not the
// 2π/λ of scattering vectors) from one to the other:
//
//	E = h·c/λ = h·c·ν̃    ν̃ = 1/λ
//
// The result is factor·x, or factor/x where inverse is true; the factor is rounded once. Values per interval, such as spectra in counts per nm,
// need dλ/dE besides. The error, a *fault.Fault without a place, is about a unit of another dimension.
func PhotonConversion(from, to Unit) (factor float64, inverse bool, err error) {
	r, inverse, err := photonFactor(from, to)
	if err != nil {
		return 0, false, err
	}
	factor, _ = r.Float64()
	if math.IsInf(factor, 0) || factor == 0 {
		return 0, false, &fault.Fault{Found: "the units " + from.Code() + " and " + to.Code(), Expected: "units less than 1e300 apart"}
	}
	return factor, inverse, nil
}

func photonFactor(from, to Unit) (factor *big.Rat, inverse bool, err error) {
	for _, u := range [...]Unit{from, to} {
		if d := u.Dim(); d != dLength && d != dWavenumber && d != dEnergy {
			return nil, false, &fault.Fault{Found: "a quantity in " + u.Code() + " (dimension " + d.String() + ")",
				Expected: "a wavelength, a photon's energy or a wavenumber, as in nm, eV or 1/cm", Remedy: "correct the unit"}
		}
	}
	// in SI units: a wavelength is 1/ν̃, an energy h·c·ν̃
	a, b := from.data(), to.data()
	factor = new(big.Rat).Set(a.factor)
	inverse = (a.dim == dLength) != (b.dim == dLength)
	if a.dim == dEnergy && b.dim != dEnergy {
		factor.Quo(factor, planckTimesLight())
	}
	if inverse {
		factor.Inv(factor)
	}
	if b.dim == dEnergy && a.dim != dEnergy {
		factor.Mul(factor, planckTimesLight())
	}
	return factor.Quo(factor, b.factor), inverse, nil
}

// PhotonIn gives a wavelength in vacuum, a photon's energy or a wavenumber as another of them (see PhotonConversion): exact arithmetic on what
// was written, rounded once. The uncertainty goes along to first order (JCGM 100:2008, 5.1.2): its share of the value stays, and so do its degrees
// of freedom. The value must be above 0 where it is turned over.
func (n Number) PhotonIn(u Unit) (Number, error) {
	factor, inverse, err := photonFactor(n.Unit, u)
	if err != nil {
		return Number{}, err
	}
	x, ok := n.value.of(n.Value)
	if !ok || inverse && x.Sign() <= 0 {
		return Number{}, numberFault(n.written(), "a wavelength, a photon's energy or a wavenumber above 0", "correct the number")
	}
	y := new(big.Rat)
	slope := new(big.Rat) // |dy/dx|
	if inverse {
		y.Quo(factor, x)
		slope.Quo(y, x)
	} else {
		y.Mul(factor, x)
		slope.Set(factor)
	}
	m := Number{Nu: n.Nu, HasU: n.HasU, Unit: u, HasUnit: true, Text: n.Text}
	if m.Value, m.value.rat, err = rounded(y); err == nil && n.HasU {
		var ux *big.Rat
		if ux, ok = n.u.of(n.U); !ok {
			err = errTooLarge
		} else {
			m.U, m.u.rat, err = rounded(ux.Mul(ux, slope))
		}
	}
	if err != nil {
		return Number{}, numberFault(n.written(), err.Error()+" in "+u.Code(), "")
	}
	return m, nil
}

// rounded gives the float64 nearest to r, and r; an error where none is near.
func rounded(r *big.Rat) (float64, *big.Rat, error) {
	f, _ := r.Float64()
	if math.IsInf(f, 0) || f == 0 && r.Sign() != 0 {
		return 0, nil, errTooLarge
	}
	return f, r, nil
}

// ConcentrationIn gives a concentration in another unit. Between mass in volume (mg/mL) and amount in volume (mol/L) it needs the molar mass,
//
//	c = ρ/M    ρ = c·M
//
// and without one (the zero Number) refuses: what has no molar mass, or several, has no amount concentration either. The uncertainties of both are
// combined as independent (JCGM 100:2008, 5.1.6), their degrees of freedom by Welch and Satterthwaite (G.4.1). Within one
// of the two it is In, and the molar mass is not looked at.
func (n Number) ConcentrationIn(u Unit, molarMass Number) (Number, error) {
	from, to := n.Unit.Dim(), u.Dim()
	toAmount := from == dMassConc && to == dMolar
	if !toAmount && (from != dMolar || to != dMassConc) {
		return n.In(u)
	}
	if molarMass.Equal(Number{}) {
		return Number{}, &fault.Fault{Found: strconv.Quote(n.written()) + " without a molar mass",
			Expected: "a molar mass, which a concentration in " + u.Code() + " needs", Remedy: "give it, as in 14.30(2) kg/mol, or stay with " + n.Unit.Code()}
	}
	if d := molarMass.Unit.Dim(); d != dMolarMass {
		return Number{}, &fault.Fault{Found: "the molar mass " + strconv.Quote(molarMass.written()) + " in " + molarMass.Unit.Code() + " (dimension " + d.String() + ")",
			Expected: "one in g/mol or kDa", Remedy: "correct the unit"}
	}
	x, ok := n.value.of(n.Value)
	mass, ok2 := molarMass.value.of(molarMass.Value)
	if !ok || !ok2 || mass.Sign() <= 0 {
		return Number{}, &fault.Fault{Found: "the molar mass " + strconv.Quote(molarMass.written()) + " for " + strconv.Quote(n.written()), Expected: "a molar mass above 0", Remedy: "correct it"}
	}
	a, b, c := n.Unit.data(), molarMass.Unit.data(), u.data()
	y := new(big.Rat).Mul(x, a.factor)
	m := new(big.Rat).Mul(mass, b.factor)
	if toAmount {
		y.Quo(y, m)
	} else {
		y.Mul(y, m)
	}
	y.Quo(y, c.factor)
	out := Number{HasU: n.HasU || molarMass.HasU, Unit: u, HasUnit: true, Text: n.Text}
	var err error
	if out.Value, out.value.rat, err = rounded(y); err != nil {
		return Number{}, numberFault(n.written(), err.Error()+" in "+u.Code(), "")
	}
	// what each uncertainty does to the result; ∂y/∂x = y/x is taken without division, since x may be 0
	one := new(big.Rat).Mul(a.factor, ratOne)
	if toAmount {
		one.Quo(one, m)
	} else {
		one.Mul(one, m)
	}
	slope, _ := one.Quo(one, c.factor).Float64()
	parts := [2]float64{slope * n.U, math.Abs(out.Value) * molarMass.U / molarMass.Value}
	out.U = math.Hypot(parts[0], parts[1])
	out.Nu = effectiveNu(out.U, parts, [2]float64{n.Nu, molarMass.Nu})
	return out, nil
}

// effectiveNu combines degrees of freedom by Welch and Satterthwaite, ν = u⁴/Σ(uᵢ⁴/νᵢ) (JCGM 100:2008, G.4.1, equation G.2b); 0 is infinite.
func effectiveNu(u float64, parts, nu [2]float64) float64 {
	sum := 0.0
	for i, p := range parts {
		if nu[i] > 0 && u > 0 {
			share := p / u
			sum += share * share * share * share / nu[i]
		}
	}
	if sum == 0 {
		return 0
	}
	return 1 / sum
}
