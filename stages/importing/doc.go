// Package importing reads the files that instruments write. The readers are
// plain functions from bytes to columns of numbers; they open nothing and know
// nothing of tables or study files.
//
// A reader never guesses a number: what it cannot read it refuses with the
// line, what it leaves out or finds odd it notes with the lines.
package importing
