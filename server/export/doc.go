// Package export walks over the stored cases and writes them as flat tables.
//
// It promises: memory does not grow with the number of cases; an export that
// was interrupted goes on where it stopped; the folder holds the former export
// until the new one is whole; and the same store exports to the same bytes,
// whether the run was interrupted or not. What may stand in a row is decided
// by package table: no patient identifier, no name, no free text.
package export
