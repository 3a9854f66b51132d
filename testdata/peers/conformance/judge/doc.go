// Package judge asks judges that others wrote, and three rules of JSON and FHIR that none of them holds, whether a
// Bundle is right. It promises that every fault carries the place where it is, and that a judge without its
// definitions fails instead of passing.
package judge

// A Judge returns one sentence per fault of a Bundle, none when it is right.
type Judge func(bundle []byte) []string
