// Package cli is the command line of enbloc: it parses, calls and lays out.
//
// [Run] is the whole program as a function of its arguments and streams, so
// that tests run what users run. Its answer is the exit code, of which there
// are four: see [Good], [HasErrors], [Usage] and [TargetFailed]. Results go to
// standard output and nothing else does; progress, notes and errors go to
// standard error. With --json the output is one JSON value whose fields are
// part of the contract.
package cli
