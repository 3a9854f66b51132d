// Package term holds every code that enbloc can send, in two tables, and
// nothing else may be sent.
//
// [Codes] are standard codes (SNOMED CT, LOINC, ICD, UCUM, HL7 …), each with
// the display its source has and the public sources that confirm it.
// [Concepts] are our own, for what no standard code could be confirmed; each
// has a definition in our own words and, where there is one, a standard code
// that means the same or is truly broader. Both tables are data files beside
// the code: codes.tsv and concepts.tsv. To add a code is to add a line there.
//
// A display is never made up: where the source shows none in English, the
// table has none and none is sent. Codes that are known to be inactive, or
// that belong to a national extension, are not in the table at all.
//
// SNOMED CT codes fall into two classes: those of the Global Patient Set,
// which its publisher lets anyone use, and the rest, which only a site with a
// SNOMED licence may send. See [Licence].
package term
