Invariant: enb-event-1
Description: "An event with a fatal outcome is serious."
Severity: #error
Expression: "outcome.coding.where(code = 'fatal').exists() implies seriousness.coding.where(code = 'SeriousResultsInDeath').exists()"

Profile: EnblocAdverseEvent
Parent: AdverseEvent
Id: enbloc-adverse-event
Title: "Adverse event of an endoscopic resection"
Description: "Something that went wrong in or after a session. R4 gives it no status: a retracted event loses this profile, carries the tag retracted, and its words are replaced."
* insert Published
* identifier 1..1
* insert Say(identifier, [[Key of the event within its case]], [[The role key. Servers have no search by it, so a tag repeats it.]])
* actuality = #actual
* event 1..1
* event from https://enbloc.example/fhir/ValueSet/enbloc-event-kind (required)
* subject only Reference(Patient)
* suspectEntity 1..1
* suspectEntity.instance only Reference(Procedure)
* suspectEntity.causality 0..0
* insert Say(event, [[What happened]], [[The kind of event; its severity is told by scales, each a derived result.]])
* insert Say(suspectEntity, [[The procedure under suspicion]], [[The resection of the lesion concerned, or the session. How sure it is was not said, so there is no causality.]])
* insert Say(seriousness, [[Serious, if a fact settles it]], [[Left out where no fact settles it: non-serious would turn what is not known into a negative.]])
* insert Say(severity, [[Mild, moderate, severe]], [[What the severity lexicon answered, where it did.]])
* insert Say(resultingCondition, [[What it led to]], [[The condition that mirrors the event and has the status that R4 lacks here. A death has none.]])
* obeys enb-event-1

Profile: EnblocEventFacts
Parent: EnblocFact
Id: enbloc-event-facts
Title: "Facts of an adverse event"
Description: "The coordinates of one event, as one Observation: scales of severity are derived from it."
* insert Published
* insert Category(procedure)
* code = $E#adverse-event-panel
* value[x] only CodeableConcept
* value[x] from https://enbloc.example/fhir/ValueSet/enbloc-event-kind (required)
* focus 1..1
* focus only Reference(AdverseEvent)
* component 1..*
* insert Say(focus, [[The event]], [[The AdverseEvent that the facts are about.]])
* insert Components
* insert CodedComponent(timing, event-timing-component, 0..1, event-timing, [[During or after the session]], [[As reported, not calculated.]])
* insert MeasuredComponent(day, onset-day, 0..1, d, [[Day of onset]], [[Calendar days from the session to the event; day 0 is the day of the session.]])
* insert CodedComponent(symptom, event-symptoms, 0.., symptom, [[Symptom]], [[Each symptom once.]])
* insert CodedComponent(intervention, event-interventions, 0.., intervention, [[Intervention]], [[Each kind of intervention that the event needed.]])
* insert CodedComponent(outcome, event-outcome-status, 0..1, event-outcome, [[Outcome]], [[How it ended, or stands.]])

Profile: EnblocEventCondition
Parent: Condition
Id: enbloc-event-condition
Title: "Condition after an adverse event"
Description: "The event as a problem of the patient, for problem lists and for its status."
* insert Published
* insert Identified
* verificationStatus 1..1
* code 1..1
* code from https://enbloc.example/fhir/ValueSet/enbloc-event-kind (required)
* subject only Reference(Patient)
* insert Say(code, [[What happened]], [[The kind of event.]])
* insert Say(onset[x], [[When it began]], [[When the event occurred.]])
* insert Say(evidence, [[The facts]], [[The facts of the event.]])
