// Package assess computes what a report implies: indication, curability, risk
// of bleeding and of metastasis, severity of events, surveillance.
//
// Every rule is a pure function of the report. It reads no clock, no file and
// no setting; it never guesses: an input that is missing makes the answer
// [CannotBeAssessed], with what is missing and what it would decide. Where two
// guidelines differ, each is a rule of its own and both answers stand side by
// side. Answers are information for licensed clinicians and defer to local
// protocol; none is an instruction.
package assess
