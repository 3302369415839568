// Package table holds typed columns and writes them as canonical bytes.
//
// A [Table] is what every item of a study is made of: columns of equal length,
// axes first and then values, each with one unit, and a header (what the file
// said of itself). It is the only package that knows Apache Arrow.
//
// [Encode] writes one table as one Arrow IPC stream: a schema message, one
// dictionary message for each text column, one uncompressed record batch and
// the end mark. The bytes are canonical. The same table gives the same bytes
// always, whatever its missing entries hold in memory and in whatever order
// its header was filled, so that the SHA-256 of the bytes names the content:
//
//   - zeros under nulls, -0 written as 0, no NaN and no Inf;
//   - no validity bitmap for a column in which nothing is missing;
//   - text as a dictionary in order of first appearance;
//   - metadata sorted by key; the unit of a column (UCUM code) is the field's
//     metadata under the key "unit";
//   - little-endian, buffers padded with zeros to 64 bytes.
//
// Missing is null, never 0, -1 or NaN.
package table
