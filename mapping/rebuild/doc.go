// Package rebuild reads a case back out of FHIR resources into the report's own
// terms: the way that mapping goes, walked the other way.
//
// It exists as a proof. What was sent and what a server gives back are compared
// as the facts of a report, so that nothing is lost in either direction, and
// what the record does not hold in codes is named (see [WordsOnly]) instead of
// being found missing by somebody who needs it. It shares no code with the
// mapping but the tables of codes, and reads by code, link and unit only, never
// by our keys: what it finds, any reader of the record can find.
//
// It promises to make nothing up: a fact stands in the result only when a
// resource of the record says it. Resources that were entered in error say
// nothing.
package rebuild
