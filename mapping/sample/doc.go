// Package sample makes invented cases by the thousand: realistic enough that
// an endoscopist would read them without stumbling, labelled as test data, and
// the same for the same seed on every machine.
//
// Three ways in:
//
//   - [Make] gives one case per seed.
//   - [Cover] gives cases that together use every value of every enumeration
//     and have every optional part both present and absent.
//   - [Cohort] streams cases whose rates are those of a good department, for
//     statistics and load.
//
// Every case is consistent: checking it finds no error, though it may find
// warnings and advice, as real reports do. Nobody in it exists; every
// identifier begins with HTEST. Rates and sizes are rounded from published
// series where a source stands beside them and otherwise common practice, no
// source; generator settings are invented and advise nothing.
//
// The package imports the standard library and the report only.
package sample
