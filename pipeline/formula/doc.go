// Package formula compiles the expressions of a study: conditions, derived columns, rules and settings that are worked out for
// each item. It reads them with expr-lang's parser and gives them a typing of its own, because numbers here carry units and
// anything may be null, and neither is known to that library's evaluator.
//
// # Sorts
//
// An expression is a Number (with a unit), a Text, a Bool or a Date. A constant that is given by the values of a field is a
// NumberMap: carbon.d1 and carbon["d1"] are fixed entries, carbon[day] is the entry for the day at hand.
//
// # Null
//
// A value that is missing is null, and logic is three-valued (S. C. Kleene, Introduction to Metamathematics, 1952, §64, strong
// tables): null compared with anything is null, not null is null, false and null is false, true or null is true. x in [...] is
// the disjunction of its comparisons, hence null when x is null. c ? a : b is null when c is null. Arithmetic and functions
// with a null are null; so are a missing entry of a NumberMap and every result that is not finite (division by zero).
// a ?? b is b where a is null.
//
// # Units
//
// Names carry units. + - and % convert to the unit of the left side and refuse another dimension; * and / multiply and divide
// units; ^ (or **) takes a whole number written out, or a dimensionless base. A result that is dimensionless is a plain number:
// nm/µm is scaled to 1. A temperature in °C becomes K before any arithmetic, as °C has a zero point of its own: differences,
// products and means are then right.
//
// A bare number is dimensionless, except where it is compared (== != < <= > >= in, and the ends of a..b) with a single name,
// member or entry: there it is in the unit in which that name was declared. Compared with a longer expression that has a unit
// it is an error. A text in quotes that is compared with a number, or stands behind ?? for one, is a quantity with its own unit:
// salt > "500 mmol/L".
//
// # Operators and functions
//
//	and && or || not !                    Bool
//	== !=                                 two of a sort
//	< <= > >= and a < b < c               Number, Date
//	x in [a, b, c..d]  x in a..b          ends included; not in
//	+ - * / % ^ **                        Number; + joins texts
//	c ? a : b   a ?? b
//	contains startsWith endsWith matches  Text; matches takes a regular expression written out
//	abs sqrt exp log log10 min max round floor ceil      Number (log is the natural logarithm)
//	lower upper trim len                  Text
//
// A Date compares by the calendar; where one side is a day without a time, days are compared. Everything else that the parser
// knows (variables, closures, pipes, slices, maps, comments, the clock, the environment) is refused with its place and a remedy.
package formula
