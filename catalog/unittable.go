package catalog

// An atom is a unit that has a name of its own.
type atom struct {
	dim      Dimension
	factor   string // in SI base units (m kg s K mol A rad), exact
	offset   string // for °C
	code     []term
	symbol   []term
	prefixes string // letters of the prefixes that it takes, u for micro
}

// A prefix is an SI prefix.
type prefix struct {
	letter, symbol string
	exp            int
}

const (
	siPrefixes     = "fpnumkMGT"
	metrePrefixes  = "fpnumcdkMGT"
	pascalPrefixes = "pnumhkMGT"
)

// SI brochure, 9th edition (2019), table 7, from memory.
var prefixes = []prefix{
	{"f", "f", -15}, {"p", "p", -12}, {"n", "n", -9}, {"u", "µ", -6}, {"m", "m", -3}, {"c", "c", -2}, {"d", "d", -1},
	{"h", "h", 2}, {"k", "k", 3}, {"M", "M", 6}, {"G", "G", 9}, {"T", "T", 12},
}

// piOver180 is π/180 to 60 digits: conversions of degrees are rounded once, to the nearest float64.
const piOver180 = "0.0174532925199432957692369076848861271344287188854172545609719"

// elementaryCharge in coulomb, exact since the 2019 revision of the SI (SI brochure, 9th edition, 2.2, from memory).
const elementaryCharge = "1.602176634e-19"

// named makes an atom that is its own code and symbol.
func named(code, symbol string, dim Dimension, factor, prefixes string) atom {
	return atom{dim: dim, factor: factor, code: []term{{code, 1}}, symbol: []term{{symbol, 1}}, prefixes: prefixes}
}

var (
	dLength      = Dimension{dimLength: 1}
	dMass        = Dimension{dimMass: 1}
	dTime        = Dimension{dimTime: 1}
	dTemperature = Dimension{dimTemperature: 1}
	dAmount      = Dimension{dimAmount: 1}
	dCurrent     = Dimension{dimCurrent: 1}
	dAngle       = Dimension{dimAngle: 1}
	dSolidAngle  = Dimension{dimAngle: 2}
	dVolume      = Dimension{dimLength: 3}
	dFrequency   = Dimension{dimTime: -1}
	dForce       = Dimension{dimLength: 1, dimMass: 1, dimTime: -2}
	dPressure    = Dimension{dimLength: -1, dimMass: 1, dimTime: -2}
	dEnergy      = Dimension{dimLength: 2, dimMass: 1, dimTime: -2}
	dPower       = Dimension{dimLength: 2, dimMass: 1, dimTime: -3}
	dCharge      = Dimension{dimTime: 1, dimCurrent: 1}
	dVoltage     = Dimension{dimLength: 2, dimMass: 1, dimTime: -3, dimCurrent: -1}
	dResistance  = Dimension{dimLength: 2, dimMass: 1, dimTime: -3, dimCurrent: -2}
	dConductance = Dimension{dimLength: -2, dimMass: -1, dimTime: 3, dimCurrent: 2}
	dMolar       = Dimension{dimLength: -3, dimAmount: 1}
	dMolarMass   = Dimension{dimMass: 1, dimAmount: -1}
	dNone        = Dimension{}
)

// atoms by their usual spelling; other spellings are in spellings. Factors: SI brochure, 9th edition (2019), tables 4 and 8,
// and NIST SP 811 (2008), appendix B, from memory.
//
// Da is the mass of a particle; the field states molar masses in it, and so it is taken as g/mol, which differs by a factor
// of 1.00000000105(31) (molar mass constant, CODATA 2022, from memory).
var atoms = map[string]atom{
	"m":   named("m", "m", dLength, "1", metrePrefixes),
	"Ao":  named("Ao", "Å", dLength, "1e-10", ""),
	"g":   named("g", "g", dMass, "1e-3", siPrefixes),
	"s":   named("s", "s", dTime, "1", siPrefixes),
	"min": named("min", "min", dTime, "60", ""),
	"h":   named("h", "h", dTime, "3600", ""),
	"d":   named("d", "d", dTime, "86400", ""),
	"K":   named("K", "K", dTemperature, "1", siPrefixes),
	"Cel": {dim: dTemperature, factor: "1", offset: "273.15", code: []term{{"Cel", 1}}, symbol: []term{{"°C", 1}}},
	"mol": named("mol", "mol", dAmount, "1", siPrefixes),
	"A":   named("A", "A", dCurrent, "1", siPrefixes),
	"rad": named("rad", "rad", dAngle, "1", siPrefixes),
	"deg": named("deg", "°", dAngle, piOver180, "m"),
	"sr":  named("sr", "sr", dSolidAngle, "1", ""),

	"L":  named("L", "L", dVolume, "1e-3", "pnumcdk"),
	"Hz": named("Hz", "Hz", dFrequency, "1", siPrefixes),
	"N":  named("N", "N", dForce, "1", siPrefixes),
	"Pa": named("Pa", "Pa", dPressure, "1", pascalPrefixes),

	"bar":    named("bar", "bar", dPressure, "1e5", "mk"),
	"atm":    named("atm", "atm", dPressure, "101325", ""),
	"P":      named("P", "P", Dimension{dimLength: -1, dimMass: 1, dimTime: -1}, "0.1", "mc"),
	"J":      named("J", "J", dEnergy, "1", siPrefixes),
	"eV":     named("eV", "eV", dEnergy, elementaryCharge, siPrefixes),
	"cal_th": named("cal_th", "cal", dEnergy, "4.184", "k"),
	"W":      named("W", "W", dPower, "1", siPrefixes),
	"C":      named("C", "C", dCharge, "1", siPrefixes),
	"V":      named("V", "V", dVoltage, "1", siPrefixes),
	"Ohm":    named("Ohm", "Ω", dResistance, "1", siPrefixes),
	"S":      named("S", "S", dConductance, "1", siPrefixes),

	"M": {dim: dMolar, factor: "1000", code: []term{{"mol", 1}, {"L", -1}}, symbol: []term{{"mol", 1}, {"L", -1}},
		prefixes: "fpnum"},
	"Da": {dim: dMolarMass, factor: "1e-3", code: []term{{"g", 1}, {"mol", -1}}, symbol: []term{{"Da", 1}}, prefixes: "kM"},

	"cps":    {dim: dFrequency, factor: "1", code: []term{{"s", -1}}, symbol: []term{{"cps", 1}}, prefixes: "kM"},
	"counts": {dim: dNone, factor: "1", symbol: []term{{"counts", 1}}, prefixes: "kM"},
	"AU":     {dim: dNone, factor: "1", symbol: []term{{"AU", 1}}, prefixes: "m"},
	"1":      {dim: dNone, factor: "1"},

	"%":      named("%", "%", dNone, "0.01", ""),
	"[ppth]": named("[ppth]", "‰", dNone, "0.001", ""),
	"[ppm]":  named("[ppm]", "ppm", dNone, "1e-6", ""),
	"[ppb]":  named("[ppb]", "ppb", dNone, "1e-9", ""),
	"wt%":    {dim: dNone, factor: "0.01", code: []term{{"%", 1}}, symbol: []term{{"wt%", 1}}},
	"vol%":   {dim: dNone, factor: "0.01", code: []term{{"%", 1}}, symbol: []term{{"vol%", 1}}},
	"mol%":   {dim: dNone, factor: "0.01", code: []term{{"%", 1}}, symbol: []term{{"mol%", 1}}},
}

// spellings gives the atom that another spelling stands for. Keys are as after tidy: micro is u, ångström is Å.
var spellings = map[string]string{
	"Å": "Ao", "A°": "Ao", "Ang": "Ao", "ang": "Ao", "angstrom": "Ao", "Angstrom": "Ao", "angstroms": "Ao", "Angstroms": "Ao",
	"ångström": "Ao", "Ångström": "Ao", "Ångstrom": "Ao", "angstroem": "Ao", "Angstroem": "Ao",
	"l": "L", "liter": "L", "litre": "L",
	"sec": "s", "secs": "s", "mins": "min", "hrs": "h", "second": "s", "seconds": "s", "minute": "min", "minutes": "min", "hr": "h", "hour": "h", "hours": "h",
	"day": "d", "days": "d",
	"°C": "Cel", "degC": "Cel", "celsius": "Cel", "Celsius": "Cel", "kelvin": "K", "Kelvin": "K",
	"°": "deg", "degree": "deg", "degrees": "deg", "radian": "rad", "radians": "rad",
	"Ω": "Ohm", "ohm": "Ohm", "cal": "cal_th",
	"count": "counts", "cts": "counts", "photons": "counts", "pulses": "counts", "cnt": "counts", "cnts": "counts", "ct": "counts",
	"CPS": "cps", "OD": "AU", "abs": "AU", "Abs": "AU",
	"‰": "[ppth]", "ppth": "[ppth]", "ppm": "[ppm]", "ppb": "[ppb]", "percent": "%",
	"dalton": "Da", "Dalton": "Da", "molar": "M",
}

// words are spellings in full of units with a prefix.
var words = map[string]string{
	"nanometer": "nm", "nanometers": "nm", "nanometre": "nm", "nanometres": "nm",
	"micrometer": "um", "micrometers": "um", "micrometre": "um", "micrometres": "um", "micron": "um", "microns": "um",
	"millimeter": "mm", "millimetre": "mm", "centimeter": "cm", "centimetre": "cm",
	"nanosecond": "ns", "nanoseconds": "ns", "picosecond": "ps", "picoseconds": "ps",
	"cc": "mL", "ccm": "mL", "millimolar": "mM", "micromolar": "uM", "nanomolar": "nM", "picomolar": "pM", "usec": "us", "psec": "ps",
	"microsecond": "us", "microseconds": "us", "millisecond": "ms", "milliseconds": "ms", "msec": "ms", "nsec": "ns",
}

// phrases are spellings that are read as a whole, and the units that they are. The share of mass in volume is taken as laboratories do,
// 1 % w/v as 1 g in 100 mL.
var phrases = map[string]string{
	"a.u.": "1", "a. u.": "1", "a.u": "1", "au": "1", "arb. u.": "1", "arb. units": "1", "arb.units": "1", "arb.u.": "1", "arb. unit": "1",
	"arbitrary units": "1", "arbitrary unit": "1", "arbitrary": "1", "rel. units": "1", "r.u.": "1",
	"wt %": "wt%", "wt.%": "wt%", "wt. %": "wt%", "wt-%": "wt%", "w%": "wt%", "mass%": "wt%", "mass %": "wt%", "mass-%": "wt%",
	"w/w%": "wt%", "w/w %": "wt%", "%w/w": "wt%", "% w/w": "wt%", "%(w/w)": "wt%", "% (w/w)": "wt%",
	"vol %": "vol%", "vol.%": "vol%", "vol. %": "vol%", "vol-%": "vol%",
	"v/v%": "vol%", "v/v %": "vol%", "%v/v": "vol%", "% v/v": "vol%", "%(v/v)": "vol%", "% (v/v)": "vol%",
	"mol %": "mol%", "mol-%": "mol%", "mol.%": "mol%",
	"w/v%": "g/dL", "w/v %": "g/dL", "%w/v": "g/dL", "% w/v": "g/dL", "%(w/v)": "g/dL", "% (w/v)": "g/dL",
	"permille": "‰", "per mille": "‰",
	"O.D.": "OD", "O.D": "OD", "o.d.": "OD", "OD.": "OD", "A.U.": "AU", "Abs.": "AU", "abs.": "AU", "absorbance": "AU",
	"c/s": "counts/s", "mPas": "mPa.s", "dimensionless": "1", "unitless": "1",
}

// common are the spellings among which the nearest is sought for an unknown one.
var common = []string{
	"nm", "Å", "µm", "mm", "cm", "m", "1/nm", "1/Å", "1/cm", "1/cm2", "nm2", "cm2", "ps", "ns", "µs", "ms", "s", "min", "h",
	"nmol/L", "µmol/L", "mmol/L", "mol/L", "nM", "µM", "mM", "M", "mg/mL", "g/L", "g/mL", "mg/L", "µg/mL", "kg/m3", "mg", "g", "kg",
	"%", "‰", "wt%", "ppm", "°C", "K", "eV", "meV", "keV", "J", "kJ/mol", "J/mol", "kcal/mol", "L", "mL", "µL", "mol",
	"g/mol", "kg/mol", "Da", "kDa", "mL/g", "cm3/g", "L/(mol.cm)", "L/mol", "W/(m2.sr.nm)", "W", "mW", "rad", "mrad", "deg", "°", "sr",
	"Hz", "kHz", "MHz", "1/s", "counts", "cps", "kcps", "counts/s", "V", "mV", "A", "mA", "Pa", "kPa", "bar", "mbar", "mPa.s",
	"S/m", "mS/cm", "1",
}
