// Package table turns a merged case and its answers into flat rows, for
// people who work with spreadsheets, statistics programs and databases.
//
// Each column is declared once, with name, type, unit, description and the
// field it comes from; the CSV and Parquet writers, the data dictionary and
// the indicators all read that one declaration.
//
// It promises that no row holds a patient identifier, a name, a free text or
// an identifier of another system: a case is named by its opaque key, people
// and places by keys that the caller makes. Sessions keep their day, and
// patients their age in years, so a row is pseudonymous and not anonymous.
// An empty cell means "not reported"; a stated absence keeps its word
// (unknown, not-assessed, not-applicable). Neither ever means "no".
//
// The same cases in the same order always give the same bytes.
package table
