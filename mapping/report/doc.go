// Package report is the endoscopic resection report as the clinic means it:
// plain types without transport, storage or FHIR.
//
// One [Report] is one session at the endoscope. It holds what was known before
// it ([Before]), the session itself ([Session]), every lesion with its
// examination, resection, specimen and histology ([Lesion]), what went wrong
// ([Event]) and what is planned ([Plan]). Histology and events usually arrive
// later and from other senders, as a [HistologyPart] or an [EventsPart];
// [Merge] joins them to the report.
//
// Three rules hold everywhere:
//
//   - A unit stands in the field's name (_mm, _um, _min, _w, _g_dl). Nothing
//     is ever converted on the way in.
//   - What is missing is never negative. A field that is left out was not
//     reported; one that says "unknown", "not-assessed" or "not-applicable"
//     says why there is no value. See [Absence], [Number], [Answer], [Sign].
//   - Decimals keep their digits: 1.50 stays 1.50. See [Number].
//
// The package imports the standard library only, and everything else in the
// project may import it.
package report
