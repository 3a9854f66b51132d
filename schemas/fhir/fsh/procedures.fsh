Invariant: enb-proc-1
Description: "A resection that was stopped says that it was partial or abandoned."
Severity: #error
Expression: "status = 'stopped' implies outcome.coding.where(code = 'completion-partial' or code = 'completion-abandoned').exists()"

Profile: EnblocEndoscopySession
Parent: Procedure
Id: enbloc-endoscopy-session
Title: "Endoscopy session"
Description: "The endoscopy itself. It exists even if nothing was resected; resections are part of it."
* insert Published
* insert Identified
* code 1..1
* code from https://enbloc.example/fhir/ValueSet/enbloc-session-kind (required)
* subject only Reference(Patient)
* performed[x] 1..1
* performed[x] only Period
* partOf 0..0
* insert Say(code, [[Kind of endoscopy]], [[Upper endoscopy, colonoscopy and so on: where the endoscope went, not what was done there.]])
* insert Say(performed[x], [[From when to when]], [[First insertion to last withdrawal.]])
* insert Say(performer, [[Who worked at the endoscope]], [[Each with a function: operator, trainee, supervisor, assistant.]])
* insert Say(usedCode, [[Kind of endoscope]], [[The kind only; no product.]])
* insert Say(complicationDetail, [[Events of no lesion]], [[What went wrong in or after the session and belongs to no resection.]])

Profile: EnblocResection
Parent: Procedure
Id: enbloc-resection
Title: "Endoscopic resection of a lesion"
Description: "The removal of one lesion, as one Procedure. Steps that count on their own (haemostasis, coagulation of the base, closure) are Procedures that are part of it; marking, injection and dissection are steps of the time line."
* insert Published
* insert Identified
* extension contains http://hl7.org/fhir/StructureDefinition/procedure-targetBodyStructure named lesion 1..1
* extension[lesion] ^short = "The lesion"
* extension[lesion] ^definition = "The lesion that was resected. bodySite says where it lies, but takes no reference."
* partOf 1..1
* partOf only Reference(Procedure)
* code 1..1
* code from https://enbloc.example/fhir/ValueSet/enbloc-technique (required)
* subject only Reference(Patient)
* performed[x] 1..1
* performed[x] only Period
* reasonReference 1..*
* reasonReference only Reference(Condition)
* bodySite 1..1
* bodySite from https://enbloc.example/fhir/ValueSet/enbloc-lesion-place (required)
* outcome from https://enbloc.example/fhir/ValueSet/enbloc-completion (required)
* usedCode from https://enbloc.example/fhir/ValueSet/enbloc-instrument (required)
* insert Say(partOf, [[The session]], [[The endoscopy in which it was done.]])
* insert Say(code, [[Technique]], [[What was done in the end; the technique that was planned is a fact. No standard code for endoscopic submucosal dissection could be confirmed, so our concept comes first and broader standard codes follow.]])
* insert Say(performed[x], [[From when to when]], [[First to last step of the time line, or the session when there is none.]])
* insert Say(reasonReference, [[The diagnosis]], [[Why it was removed: provisional before, confirmed after histology, the same resource.]])
* insert Say(outcome, [[How far it came]], [[Whether the resection was carried through. Nothing about margins: those are the pathologist's.]])
* insert Say(complicationDetail, [[What went wrong]], [[The conditions that adverse events of this resection led to.]])
* insert Say(usedCode, [[Instruments]], [[Kinds of knives and snares used; no product.]])
* obeys enb-proc-1

Profile: EnblocResectionMeasure
Parent: Procedure
Id: enbloc-resection-measure
Title: "Measure during a resection"
Description: "What counts on its own within a resection: haemostasis of a bleeding, preventive coagulation of the base, closure of the defect."
* insert Published
* insert Identified
* partOf 1..1
* partOf only Reference(Procedure)
* code 1..1
* code from https://enbloc.example/fhir/ValueSet/enbloc-procedure (required)
* subject only Reference(Patient)
* reasonReference 1..*
* reasonReference only Reference(Condition or Observation)
* insert Say(partOf, [[The resection]], [[The resection that it belongs to.]])
* insert Say(reasonReference, [[Why]], [[The bleeding for haemostasis, the diagnosis for all else.]])
* insert Say(performed[x], [[When]], [[By the clock; where nobody noted a time, it is said to be unknown and is not made up.]])

Profile: EnblocEventIntervention
Parent: Procedure
Id: enbloc-event-intervention
Title: "Intervention for an adverse event"
Description: "What an event needed: endoscopy, radiology, surgery. It belongs to the event and not to the session."
* insert Published
* insert Identified
* code 1..1
* code from https://enbloc.example/fhir/ValueSet/enbloc-intervention (required)
* subject only Reference(Patient)
* insert Say(code, [[What was done]], [[The kind of intervention, as scales of severity distinguish it.]])
* insert Say(reasonReference, [[The condition]], [[What the event led to.]])
