Invariant: enb-derived-1
Description: "A derived result names what it rests on: the facts, or in a note those that are no Observation."
Severity: #error
Expression: "derivedFrom.exists() or component.where(code.coding.code = 'missing-input').exists() or note.exists()"

Invariant: enb-derived-2
Description: "A result that can not be assessed names what is missing."
Severity: #error
Expression: "dataAbsentReason.coding.where(code = 'unknown').exists() implies component.where(code.coding.code = 'missing-input').exists()"

Invariant: enb-derived-3
Description: "A result says that it decides nothing: it names the local protocol as what goes before it."
Severity: #error
Expression: "note.text.where(contains('local protocol')).exists()"

Invariant: enb-derived-4
Description: "What was missing has no place beside an answer that is a class: a class needs all its inputs."
Severity: #error
Expression: "value.ofType(CodeableConcept).coding.where(code.startsWith('ecura-')).exists() implies derivedFrom.exists()"

Profile: EnblocDerivedResult
Parent: EnblocFact
Id: enbloc-derived-result
Title: "Derived result"
Description: "What one published rule says about the facts of a case: a class, a score, a published risk. It repeats a publication on reported facts and decides nothing. Two guidelines on one question are two results with the same focus and different methods; neither overrules the other."
* insert Published
* code from https://enbloc.example/fhir/ValueSet/enbloc-derived (required)
* method 1..1
* method.text 1..1
* device 1..1
* note 1..*
* derivedFrom only Reference(Observation)
* hasMember 0..0
* insert Say(code, [[The question]], [[The rule by what it answers; the words of the question as text.]])
* insert Say(value[x], [[The answer]], [[Yes or no, a class, a figure, or words. Without a value the rule does not apply (not-applicable), or an input that decides is missing (unknown).]])
* insert Say(method, [[Guideline, edition, rule book]], [[Which publication the rule comes from and which edition of the rule book was asked.]])
* insert Say(device, [[The software]], [[The program that asked the rule, with its version. The performer is the clinician who signed.]])
* insert Say(derivedFrom, [[The facts]], [[Every fact that decided. If one of them changes, the result is void.]])
* insert Say(note, [[Reason, what is missing, cautions, source, who decides]], [[In words, one note each. Show them wherever the value is shown.]])
* insert Components
* insert CodedComponent(confirmation, rule-confirmation, 0..1, mark, [[How far the rule is confirmed]], [[Whether the rule was read in the publication itself, second-hand, or not confirmed at all.]])
* insert Component(missing, missing-input, 0.., [[Missing input]], [[One fact that was missing, as a path into the report.]])
* component[missing].value[x] only string
* insert Component(risk, published-risk, 0..1, [[Published risk]], [[The figure of the publication for this class, in per cent, with what was counted and where as text. It is the risk of a group, not of this patient.]])
* component[risk].value[x] only Quantity
* component[risk].valueQuantity.code = #%
* insert Component(interval, published-risk-interval, 0..1, [[Published 95% interval]], [[The confidence interval of the published risk.]])
* component[interval].value[x] only Range
* insert Component(counts, published-risk-counts, 0..1, [[Published counts]], [[Events and denominator behind the published risk.]])
* component[counts].value[x] only Ratio
* obeys enb-derived-1
* obeys enb-derived-2
* obeys enb-derived-3

Profile: EnblocCurability
Parent: EnblocDerivedResult
Id: enbloc-curability
Title: "Curability of an endoscopic resection"
Description: "What a guideline says about how the resection of one lesion came out: curative or not, or the class of the risk that is left. Needs histology; without it the result can not be assessed and says what is missing."
* insert Published
* code from https://enbloc.example/fhir/ValueSet/enbloc-curability-rule (required)
* focus 1..1
* focus only Reference(BodyStructure or Condition)
* insert Say(focus, [[The lesion, or its diagnosis]], [[Before histology the lesion as a place, after it the diagnosis.]])

Profile: EnblocECuraResult
Parent: EnblocCurability
Id: enbloc-ecura-result
Title: "eCura class"
Description: "Endoscopic curability of a gastric cancer: A, B, C-1 or C-2 (Ono et al., Guidelines for endoscopic submucosal dissection and endoscopic mucosal resection for early gastric cancer, second edition, Dig Endosc 2021;33:4-20, doi:10.1111/den.13883)."
* insert Published
* code = $E#r2-gastric-curability-ecura
* value[x] only CodeableConcept
* value[x] from https://enbloc.example/fhir/ValueSet/enbloc-ecura (required)
* insert Say(value[x], [[eCura A, B, C-1 or C-2]], [[The class by the guideline's table.]])
* obeys enb-derived-4

Profile: EnblocEnBloc
Parent: EnblocDerivedResult
Id: enbloc-en-bloc
Title: "En bloc resection"
Description: "Whether the lesion came out in one piece."
* insert Published
* code = $E#r10-metric-en-bloc
* value[x] only CodeableConcept
* value[x] from https://enbloc.example/fhir/ValueSet/enbloc-yes-no (required)
* focus 1..1

Profile: EnblocR0
Parent: EnblocDerivedResult
Id: enbloc-r0
Title: "R0 resection"
Description: "Whether the lesion came out in one piece with both margins free under the microscope."
* insert Published
* code = $E#r10-metric-r0
* value[x] only CodeableConcept
* value[x] from https://enbloc.example/fhir/ValueSet/enbloc-yes-no (required)
* focus 1..1
