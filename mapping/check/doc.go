// Package check finds what does not fit together in a report whose every
// field is well formed: an end before its start, a specimen smaller than its
// lesion, a class of the colon in the stomach.
//
// All checks stand in one table, [Table]; a newcomer reads it from top to
// bottom and adds a row and a function. A check is a pure function of the
// document. It says where it looked, what it saw in one sentence, how to mend
// it, and on whose authority: a publication, the logic of the document, or
// "common practice, no source".
//
// Severity follows one rule. An error is a contradiction within one statement
// of one sender, which nobody can act on: it rejects the document. What could
// be two clocks, two observers or a rare truth is a warning. Advice is what a
// colleague would mention. A field that was left out, or says why it has no
// value, never counts as negative: a check that needs it stays silent, unless
// its absence is what the check is about.
//
// No sentence repeats an identifier or free text, and none proposes a
// treatment or a setting.
package check
