// Package model is the guard between enbloc and golang-fhir-models, and the
// only package that imports it.
//
// The library's R4 structs are complete and keep the digits of decimals, but
// what leaves them can be wrong in ways that no compiler sees: a forgotten
// status goes out as the first code of its list, an empty decimal goes out as
// 0, a code out of range as "<unknown>", an empty list as null, and two
// value[x] side by side. [Encode] makes each of these impossible: codes that
// R4 requires are arguments and may be set once; every decimal and every code
// is checked before it is written; what is empty is taken out; a choice may
// have one value.
//
// What the library cannot express comes in at the side: [Extras] carries
// extensions of primitive elements and contained resources, and types that the
// library cannot write valid (MedicationAdministration) are structs of our own.
//
// The bytes are canonical: resourceType first, then the elements in the order
// of the specification, no insignificant space, no escaping of <, > and &.
// Resources of others never pass through these structs: they stay raw JSON, see
// [Object].
package model
