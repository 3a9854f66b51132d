// Package schemas holds the report format as JSON Schema 2020-12 and reads
// documents by it: strictly, completely, and with findings that a person can
// act on.
//
// A document passes three gates. The scanner admits JSON as RFC 8259 and
// I-JSON (RFC 7493) mean it and refuses what two readers could read in two
// ways: duplicate keys, invalid UTF-8, a byte order mark, text after the end,
// figures that no decimal holds. The schema then admits what the format
// allows. Only what passed both is decoded into the types of mapping/report,
// so those never see a value that the schema does not know. An empty list says
// the same as one that was left out.
//
// The package promises: no panic on any input; every finding of a gate is
// collected, not only the first, up to [MaxFindings]; and no finding repeats
// an identifier or free text of the document.
package schemas
