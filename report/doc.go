// Package report writes what leaves a study: a page for people (report.html), its numbers for programs (values.json), tables
// as CSV and figures as SVG, all of them in the study's folder out/.
//
// Start with Write. It takes the outcome of a run and knows no kind by name: figures are drawn from the kinds' declarations,
// the methods text is made from their sentences, formulas and sources.
//
// What is written depends on the outcome alone, states made and kept being one to it ("good"): no clock, no host, no
// absolute path, no order of a map. The same outcome gives the same bytes.
//
//	write.go     what is made, in which order; up to date or not
//	folder.go    files in out/: compared, replaced, removed
//	manifest.go  the record of what was written, .fascicle/out.json
//	model.go     stages, rows and samples put in order
//	values.go, tables.go, outputs.go values.json and CSV
//	budget.go, uncertainty.go        what the u of each number consists of, and of which sources there are
//	scale.go, thin.go, draw.go, …    figures
//	questions.go, asked_*.go         answers, figures and tables that the study asks for
//	page.go, cards.go, …             the page
package report
