// Package indicator computes the figures by which a unit judges its own work:
// rates with numerator, denominator, exclusions, the count that is not
// evaluable, the score interval and the published benchmark.
//
// The definitions are data (definitions.json): predicates over columns of the
// tables of package table. A society's change of an indicator is an edit of
// that file (ESGE position, Endoscopy 2016;48:291, item 10).
//
// It promises that unknown is never negative: a row whose numerator is not
// known is counted as not evaluable and leaves the rate, and the bounds say
// what the rate would be if all of those were no, or all were yes. Where only
// what was recorded can be counted, the result says so. Small cells are
// suppressed. Figures describe; they judge nobody without case mix.
package indicator
