// Package importing reads the files that instruments write. The readers are
// plain functions from bytes to columns of numbers; they open nothing and know
// nothing of tables or study files.
//
// ParseText reads one curve from delimited text and is the fast way; EachCurve
// reads text in any layout, EachJCAMP and EachCanSAS their formats, each curve
// as a Text that is handed on before the next is read. The kind `import`
// chooses the reader by content and turns a Text into a table.
//
// A reader never guesses a number: what it cannot read it refuses with the
// line, what it leaves out or finds odd it notes with the lines.
package importing
