package catalog

// canonical lists the units of the quantities that do not simply take the product of nm, g, s, K, mol, A and rad.
var canonical = map[Dimension]string{
	{dimLength: 1}:                             "nm",
	{dimLength: 2}:                             "nm2",
	{dimLength: 3}:                             "mL",
	{dimLength: -1}:                            "1/cm",
	{dimLength: -2}:                            "1/cm2",
	{dimTime: 1}:                               "ns",
	{dimTime: -1}:                              "1/s",
	{dimLength: 2, dimMass: 1, dimTime: -2}:    "eV",
	{dimLength: -3, dimAmount: 1}:              "mol/L",
	{dimLength: -3, dimMass: 1}:                "mg/mL",
	{dimMass: 1, dimAmount: -1}:                "g/mol",
	{dimLength: 2, dimAmount: -1}:              "L/(mol.cm)",
	{dimLength: 3, dimMass: -1}:                "mL/g",
	{dimLength: 3, dimAmount: -1}:              "L/mol",
	{dimLength: 3, dimAmount: -1, dimTime: -1}: "L/(mol.s)",
	{dimLength: 3, dimMass: -2, dimAmount: 1}:  "mL.mol/g2",
}

// Canonical is the unit in which the program keeps quantities of the dimension d: length nm; 1/length 1/cm, but 1/nm where
// axis tells that it is a scattering vector; 1/length² 1/cm2; area nm2; volume mL; time ns; 1/time 1/s; energy eV;
// temperature K; angle rad; amount concentration mol/L; mass concentration mg/mL; molar mass g/mol; molar absorptivity
// L/(mol.cm); specific volume mL/g; association constants and molar volumes L/mol; rate constants of second order
// L/(mol.s); second virial coefficients mL.mol/g2; everything else the product of powers of nm, g, s, K, mol, A and rad.
func Canonical(d Dimension, axis bool) Unit {
	if axis && d == (Dimension{dimLength: -1}) {
		return mustUnit("1/nm")
	}
	if code, ok := canonical[d]; ok {
		return mustUnit(code)
	}
	var u Unit
	for i, code := range [...]string{"nm", "g", "s", "K", "mol", "A", "rad"} {
		if d[i] != 0 {
			u = u.Mul(mustUnit(code).Pow(int(d[i])))
		}
	}
	return u
}

// mustUnit is for units that stand in the code.
func mustUnit(code string) Unit {
	u, err := ParseUnit(code)
	if err != nil {
		panic("catalog: " + err.Error())
	}
	return u
}
