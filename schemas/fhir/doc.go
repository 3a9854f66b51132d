// Package fhir publishes the FHIR R4 definitions of what enbloc writes: our
// CodeSystem, its ValueSets and ConceptMaps, and the profiles of the resources
// of a case. IT staff load them into their own validator or server, as one
// package or one by one.
//
// The terminology is made from the code table (package term). The profiles and
// a few ValueSets are written in FHIR Shorthand, in fsh/, and compiled into
// package/ by testdata/peers/sushi/compile.sh, which also checks that the
// compiled files are those that the sources give. Nobody needs the compiler to
// build or use enbloc.
//
// The profiles are differentials, as their authors wrote them: a validator
// makes the snapshots. All bindings are to enumerated ValueSets, as no other
// is enforced without a terminology server. Each rule (enb-…) has a test in
// which HL7's validator passes a good resource and refuses a bad one.
package fhir
