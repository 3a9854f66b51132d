// Package storetest holds the suite that a store must pass on every engine, and
// the way to an empty database for other packages' tests.
//
// It promises that a test sees a database of its own, so that tests run in
// parallel and leave nothing behind.
package storetest
