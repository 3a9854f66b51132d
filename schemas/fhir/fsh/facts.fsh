Invariant: enb-fact-1
Description: "A fact has a value, or says why there is none, or consists of components or of other facts."
Severity: #error
Expression: "value.exists() or dataAbsentReason.exists() or component.exists() or hasMember.exists()"

Invariant: enb-fact-2
Description: "The first coding is a concept of ours, so that a reader who knows no other system finds the fact."
Severity: #error
Expression: "code.coding.first().system = 'https://enbloc.example/fhir/CodeSystem/enbloc'"

Invariant: enb-fact-3
Description: "Every figure has a unit of UCUM: a figure without one can be read in two ways."
Severity: #error
Expression: "value.ofType(Quantity).all(system = 'http://unitsofmeasure.org' and code.exists()) and component.value.ofType(Quantity).all(system = 'http://unitsofmeasure.org' and code.exists())"

Invariant: enb-measure-1
Description: "A measured extent, count or depth is not negative."
Severity: #error
Expression: "value.ofType(Quantity).value.all($this >= 0)"

Invariant: enb-ranked-1
Description: "Several concepts in order are components, first and second at least, and the value is words only; one concept is the value itself."
Severity: #error
Expression: "component.where(code.coding.code = 'rank-1').exists() implies (component.where(code.coding.code = 'rank-2').exists() and value.ofType(CodeableConcept).coding.empty())"

Invariant: enb-ranked-paris
Description: "The value is one of the Paris types of this guide, or words only."
Severity: #error
Expression: "value.ofType(CodeableConcept).coding.where(system = 'https://enbloc.example/fhir/CodeSystem/enbloc').all(memberOf('https://enbloc.example/fhir/ValueSet/enbloc-paris'))"

Invariant: enb-ranked-kudo
Description: "The value is one of the pit patterns of this guide, or words only."
Severity: #error
Expression: "value.ofType(CodeableConcept).coding.where(system = 'https://enbloc.example/fhir/CodeSystem/enbloc').all(memberOf('https://enbloc.example/fhir/ValueSet/enbloc-kudo'))"

Invariant: enb-ranked-histology-type
Description: "The value is one of the histological types of this guide, or words only."
Severity: #error
Expression: "value.ofType(CodeableConcept).coding.where(system = 'https://enbloc.example/fhir/CodeSystem/enbloc').all(memberOf('https://enbloc.example/fhir/ValueSet/enbloc-histology-type'))"

Profile: EnblocFact
Parent: Observation
Id: enbloc-fact
Title: "Fact of an endoscopic resection"
Description: "What all facts of a case have in common, whoever stated them. A fact that was stated as not known, not assessed or not applicable is here with a dataAbsentReason; a fact that nobody mentioned is not here at all. Neither is ever a negative finding."
* insert Published
* insert Identified
* category 1..*
* code.coding 1..*
* subject 1..1
* subject only Reference(Patient)
* effective[x] 1..1
* effective[x] only dateTime or Period
* issued 1..1
* insert Say(code, [[What the fact is about]], [[Our concept first; then the standard codes that mean the same or more. The concept of ours is always there, because most of these facts have no standard code.]])
* insert Say(effective[x], [[When the fact was true]], [[The time in the patient: of the session, of the step, or of the removal of the specimen. Not the time of reading under the microscope.]])
* insert Say(issued, [[When it was signed]], [[When the document that states the fact was signed, or written if it is a draft.]])
* insert Say(dataAbsentReason, [[Why there is no value]], [[unknown, not-performed or not-applicable, as stated. A rule that needs the fact can not be assessed then.]])
* obeys enb-fact-1
* obeys enb-fact-2
* obeys enb-fact-3

Profile: EnblocPanel
Parent: EnblocFact
Id: enbloc-panel
Title: "Panel of facts"
Description: "Groups the facts about one thing. It has no value of its own: its members have."
* insert Published
* code from https://enbloc.example/fhir/ValueSet/enbloc-panel (required)
* value[x] 0..0
* dataAbsentReason 0..0
* component 0..0
* hasMember 1..*
* hasMember only Reference(Observation)
* insert Say(hasMember, [[The facts]], [[Each fact is an Observation of its own, with its own status: a fact that is amended changes without the others.]])

Profile: EnblocPreProcedurePanel
Parent: EnblocPanel
Id: enbloc-pre-procedure-panel
Title: "Facts before the resection"
Description: "What was known and prepared before the session: indication, earlier treatment, antithrombotic agents, sedation, bowel preparation. Its members follow the profile Fact of an endoscopic resection."
* insert Published
* insert Category(procedure)
* code = $E#pre-procedure-panel
* partOf 1..1
* partOf only Reference(Procedure)
