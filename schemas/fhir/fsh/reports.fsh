Invariant: enb-report-1
Description: "A report that is in force has an author: somebody answers for it."
Severity: #error
Expression: "status in ('final' | 'amended' | 'corrected' | 'appended') implies resultsInterpreter.exists()"

Invariant: enb-report-2
Description: "A report has results or a conclusion: an empty one tells a reader that nothing was found."
Severity: #error
Expression: "result.exists() or conclusion.exists()"

Profile: EnblocEndoscopyReport
Parent: DiagnosticReport
Id: enbloc-endoscopy-report
Title: "Endoscopy report"
Description: "The endoscopist's report on one session, with the panels and derived results as its results. It is written last, so that a case half delivered is not visible as a report. Each change is a new version of the same resource; a withdrawal is entered-in-error with the words replaced."
* insert Published
* insert Identified
* text 1..1
* category 1..*
* code 1..1
* code.coding 1..*
* subject 1..1
* subject only Reference(Patient)
* effective[x] 1..1
* effective[x] only Period
* issued 1..1
* result only Reference(Observation)
* conclusion 1..1
* insert Say(text, [[The report in words]], [[What was signed, complete: a reader who sees only this misses nothing.]])
* insert Say(status, [[preliminary, final, amended, corrected, appended, entered-in-error]], [[preliminary before the signature; appended when histology or an event came and nothing old changed; amended or corrected when something did. A report does not wait for histology to be final.]])
* insert Say(effective[x], [[The session]], [[From when to when the endoscopy took.]])
* insert Say(resultsInterpreter, [[Who signed]], [[The endoscopist who answers for the report.]])
* insert Say(result, [[Panels and derived results]], [[Single facts are reached through their panel.]])
* insert Say(specimen, [[Specimens sent]], [[One per lesion.]])
* insert Say(conclusion, [[Conclusion in words]], [[Says too that histology is pending, where it is.]])
* insert Say(conclusionCode, [[Suspected diagnosis]], [[Only until histology is there: a coded conclusion has no verification status.]])
* obeys enb-report-1
* obeys enb-report-2

Profile: EnblocPathologySummary
Parent: DiagnosticReport
Id: enbloc-pathology-summary
Title: "Summary of the histology"
Description: "Our summary of what the laboratory reported on the specimens of one session. It is not the laboratory's report and never takes its place; the Provenance names that one."
* insert Published
* insert Identified
* text 1..1
* category 1..*
* code 1..1
* code = $LOINC#60568-3
* subject 1..1
* subject only Reference(Patient)
* effective[x] 1..1
* effective[x] only dateTime
* issued 1..1
* specimen 1..*
* result 1..*
* result only Reference(Observation)
* conclusion 1..1
* insert Say(status, [[partial while a specimen is waited for]], [[No further than the least settled histology in it.]])
* insert Say(effective[x], [[When the first specimen was taken]], [[The time in the patient, not of the reading.]])
* insert Say(performer, [[The pathologists]], [[Who made the findings.]])
* insert Say(resultsInterpreter, [[Who wrote the summary]], [[The endoscopist who answers for the case.]])
* insert Say(specimen, [[The specimens]], [[Those that the findings are about.]])
* insert Say(result, [[Panels and derived results]], [[Histology panels, and what rules derived with them.]])
