// Package importer turns the rows of a unit's former spreadsheet into draft
// reports, as a mapping file says.
//
// It promises that nothing is guessed: every column is mapped or set aside by
// name, every word of a coded column stands in the mapping file, a date is read
// by one layout and zone, and a number has to be a plain decimal. A row that
// breaks this, the schema, or a check across fields is refused whole, with row,
// column and reason; a refusal repeats no cell, which may hold patient data.
// What comes out is always a draft: somebody has to read and sign it.
package importer
