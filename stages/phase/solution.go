package phase

import (
	"context"
	"fmt"
	"math"

	"fascicle/catalog"
	"fascicle/pipeline"
	"fascicle/pipeline/table"
)

// SolutionKind describes the salt solution of each sample from the sheet.
var SolutionKind = pipeline.Kind{
	Name:     "phase.solution",
	Revision: 2,
	Doc:      "Describes the salt solution of each sample: ionic strength, screening length, charge ratio, charge density of the chains.",
	Formula:  "I = ½·Σ c·ν·z²; l_B = e²/(4π·ε0·ε·k·T); 1/κ = 1/√(8π·l_B·N_A·I); ratio = c₋/c₊; ξ = l_B/b; ε of water = 87.740 − 0.40008·t + 9.398e-4·t² − 1.410e-6·t³ (t in °C), u(ε) = 0.05/√3",
	Source:   "Malmberg and Maryott, J. Res. Natl. Bur. Stand. 56 (1956) 1, who state an error of 0.05 at most (u by JCGM 100:2008, 4.3.7); Debye and Hückel, Phys. Z. 24 (1923) 185; Manning, J. Chem. Phys. 51 (1969) 924 (all from memory); constants: CODATA 2018",
	Methods:  "Bjerrum and Debye lengths were worked out from temperature {temperature}, permittivity {permittivity} and ionic strength {ionic}; the polymers' own charges and counter-ions are not part of the ionic strength.",
	Parts:    pipeline.Shift,
	Ports: []pipeline.Port{{
		Name: "sample", Lead: true, Sheet: true, Forms: []pipeline.Form{pipeline.Values}, Doc: "the samples, one item a row of the sheet",
	}},
	Outputs: []pipeline.Output{{
		Name: "solution", Doc: "the solution of each sample", Form: pipeline.Values,
		Columns: []pipeline.Column{
			{Name: "ionic_strength", Unit: "mol/L", U: true, Doc: "ionic strength of the salt"},
			{Name: "salt_concentration", Unit: "mol/L", U: true, Optional: true, Doc: "amount concentration of the salt; missing when its formula is"},
			{Name: "permittivity", Unit: "1", U: true, Doc: "relative permittivity, given or of water"},
			{Name: "bjerrum", Unit: "nm", U: true, Doc: "Bjerrum length"},
			{Name: "debye", Unit: "nm", U: true, Optional: true, Doc: "Debye length; missing without salt"},
			{Name: "charge_ratio", Unit: "1", U: true, Optional: true, Doc: "negative over positive charges of the polymers"},
		},
		Shape: solutionShape,
	}},
	Settings: func() any { return &solutionSettings{} },
	Run:      runSolution,
}

type solutionSettings struct {
	Salt          pipeline.Field               `set:"salt" unit:"text" literal:"yes" null:"ok" doc:"the salt's formula: NaCl, CaCl2, (NH4)2SO4"`
	Ionic         pipeline.Field               `set:"ionic" unit:"mol/L" words:"from concentration" default:"from concentration" min:"0" doc:"ionic strength of the salt"`
	Concentration pipeline.Field               `set:"concentration" unit:"mol/L" words:"none" default:"none" min:"0" doc:"amount concentration of the salt, where the ionic strength is to be worked out from it"`
	Temperature   pipeline.Field               `set:"temperature" unit:"K" above:"0" doc:"temperature"`
	Permittivity  pipeline.Field               `set:"permittivity" unit:"1" words:"water" default:"water" min:"1" doc:"relative permittivity; water: of pure water at the temperature, with what its formula may be wrong by as u; what salt lowers it by is not in it"`
	Charges       solutionCharges              `set:"charges" default:"-" doc:"amount concentrations of the polymers' charges"`
	Spacing       pipeline.Map[pipeline.Field] `set:"spacing" unit:"nm" default:"-" above:"0" null:"ok" doc:"CHAIN: its contour length for each charge; gives a column manning_CHAIN"`
}

type solutionCharges struct {
	Anion  pipeline.Field `set:"anion" unit:"mol/L" min:"0" null:"ok" doc:"of the polyanion"`
	Cation pipeline.Field `set:"cation" unit:"mol/L" min:"0" null:"ok" doc:"of the polycation"`
}

// Validate holds settings against each other.
func (s *solutionSettings) Validate() error {
	if (s.Ionic.Word == "") == (s.Concentration.Word == "") {
		return fmt.Errorf("set either `ionic` or `concentration`, the one that the sheet has")
	}
	for _, e := range s.Spacing {
		if !catalog.IsIdentifier(e.Key) {
			return fmt.Errorf("`spacing` has the key %q; expected a name of letters, digits and _, such as anion", e.Key)
		}
	}
	return nil
}

// solutionShape adds a column for each chain whose spacing is given.
func solutionShape(s pipeline.ShapeCall) ([]pipeline.Column, error) {
	var out []pipeline.Column
	for _, e := range s.Settings.(*solutionSettings).Spacing {
		if catalog.IsIdentifier(e.Key) { // Validate speaks of the others
			out = append(out, pipeline.Column{Name: "manning_" + e.Key, Unit: "1", U: true, Optional: true, Doc: "charge density parameter of " + e.Key})
		}
	}
	return out, nil
}

// formalAbove is the ionic strength in mol/L above which a Debye length is a formal figure (common practice, no source).
const formalAbove = 0.1

// Salt lowers the permittivity of water by some 11 for each mol/L of NaCl (Hasted, Ritson and Collie, J. Chem. Phys. 16 (1948) 1; from memory),
// which above loweredAbove, an ionic strength in mol/L, is more than half a percent.
const (
	loweredAbove   = 0.04
	loweredByMolar = 11
)

func runSolution(ctx context.Context, call *pipeline.Call) (pipeline.Choices, error) {
	for i := range call.Leads {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		t, err := describeSolution(call, i)
		if err != nil {
			return nil, err
		}
		call.Give("solution", i, t)
	}
	return nil, nil // nothing is chosen: everything follows from the numbers
}

// describeSolution works out the row of one sample. Its numbers come from the sheet and from constants, so that they have no noise of their
// own, and what is uncertain in the sheet comes in as shared parts. What the formula for water may be wrong by is the own part of the
// permittivity, and of the lengths that follow from it: l_B goes with 1/ε, 1/κ with √ε.
func describeSolution(call *pipeline.Call, i int) (*table.Table, error) {
	s := call.Settings.(*solutionSettings)
	note := func(level pipeline.FlagLevel, format string, args ...any) {
		call.Flag(level, "solution", i, format, args...)
	}

	temperature := call.Number(s.Temperature, i).Value
	strength, concentration, err := saltOf(call, s, i)
	if err != nil {
		return nil, err
	}
	eps, uEps := 0.0, 0.0
	if s.Permittivity.Is("water") {
		if eps, err = WaterPermittivity(temperature); err != nil {
			return nil, fmt.Errorf("%w; the temperature is %.2f °C: correct its unit in the sheet, or give `permittivity`", err, temperature-zeroCelsius)
		}
		uEps = waterPermittivityU
		if strength > loweredAbove {
			note(pipeline.Note, "the permittivity is that of water: at an ionic strength of %.3g mol/L salt lowers it, NaCl by some %.2g (%.1g %%), which is neither in the lengths nor in u; give `permittivity` where that matters", strength, loweredByMolar*strength, 100*loweredByMolar*strength/eps)
		}
	} else {
		eps = call.Number(s.Permittivity, i).Value
	}
	bjerrum := Bjerrum(eps, temperature)
	debye := Debye(strength, eps, temperature)
	switch {
	case strength == 0:
		debye = math.NaN()
		note(pipeline.Note, "without salt nothing but the polymers' counter-ions screens: no Debye length is given")
	case strength > formalAbove:
		note(pipeline.Note, "the Debye length (and no other number) is a formal figure at an ionic strength of %.3g mol/L: the theory is one of dilute solutions, up to %g mol/L", strength, formalAbove)
	}

	t := &table.Table{}
	type ofWater struct {
		name, unit string
		u          float64 // with the sign that it has for a greater permittivity
	}
	var own []ofWater
	add := func(name, unit string, x, u float64) {
		if math.IsNaN(x) {
			u = x
		}
		pipeline.AddWithNaN(t, name, unit, []float64{x})
		pipeline.AddWithNaN(t, "u_"+name, unit, []float64{math.Abs(u)})
		if uEps > 0 && u != 0 {
			own = append(own, ofWater{name, unit, u})
		}
	}
	add("ionic_strength", "mol/L", strength, 0)
	add("salt_concentration", "mol/L", concentration, 0)
	add("permittivity", "1", eps, uEps)
	add("bjerrum", "nm", bjerrum, -bjerrum*uEps/eps)
	add("debye", "nm", debye, debye*uEps/(2*eps))
	add("charge_ratio", "1", chargeRatio(call, s, i, strength), 0)
	for _, e := range s.Spacing {
		xi := math.NaN()
		if b := call.Number(e.Value, i); b.Known {
			if xi = Manning(bjerrum, b.Value); xi > 1 {
				note(pipeline.Note, "%s: the charge density parameter is %.3g, so counter-ions of one charge condense on the chain until it is 1", e.Key, xi)
			}
		}
		add("manning_"+e.Key, "1", xi, -xi*uEps/eps)
	}
	for k, a := range own {
		for _, b := range own[:k] {
			if v := a.u * b.u; !math.IsNaN(v) {
				t.AddFloat("cov_"+b.name+"_"+a.name, pipeline.UnitProduct(b.unit, a.unit), []float64{v})
			}
		}
	}
	return t, nil
}

// saltOf gives ionic strength and amount concentration of the salt in mol/L. The concentration is NaN when the salt is not known and not needed.
func saltOf(call *pipeline.Call, s *solutionSettings, i int) (strength, concentration float64, err error) {
	text := pipeline.Evaluated{Text: s.Salt.Word, Known: true} // a salt that is the same for all
	if s.Salt.Word == "" {
		text = call.Number(s.Salt, i)
	}
	if s.Ionic.Word == "" {
		strength = call.Number(s.Ionic, i).Value
		if strength == 0 {
			return 0, 0, nil
		}
		if !text.Known {
			return strength, math.NaN(), nil
		}
		salt, err := ReadSalt(text.Text)
		if err != nil {
			call.Flag(pipeline.Note, "solution", i, "%v; its concentration is left out", err)
			return strength, math.NaN(), nil
		}
		return strength, strength / salt.Strength(), nil
	}
	concentration = call.Number(s.Concentration, i).Value
	if concentration == 0 {
		return 0, 0, nil
	}
	if !text.Known {
		return 0, 0, fmt.Errorf("no salt is named, but its concentration is %g mol/L; fill in the field behind `salt`", concentration)
	}
	salt, err := ReadSalt(text.Text)
	if err != nil {
		return 0, 0, fmt.Errorf("%w; or give the ionic strength itself as `ionic`", err)
	}
	return concentration * salt.Strength(), concentration, nil
}

// chargeRatio gives negative over positive charges of the polymers, NaN when it is not known, and says when their counter-ions would count.
func chargeRatio(call *pipeline.Call, s *solutionSettings, i int, strength float64) float64 {
	if !s.Charges.Anion.Set {
		return math.NaN()
	}
	minus, plus := call.Number(s.Charges.Anion, i), call.Number(s.Charges.Cation, i)
	if !minus.Known || !plus.Known {
		return math.NaN()
	}
	if own := (minus.Value + plus.Value) / 2; own > 0.1*strength {
		call.Flag(pipeline.Note, "solution", i, "the polymers' counter-ions, %.3g mol/L in all, are more than a tenth of the salt's ionic strength and are not part of it", 2*own)
	}
	if plus.Value == 0 {
		call.Flag(pipeline.Note, "solution", i, "there is no positive charge, so there is no charge ratio")
		return math.NaN()
	}
	return minus.Value / plus.Value
}
