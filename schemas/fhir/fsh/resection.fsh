Profile: EnblocResectionPanel
Parent: EnblocPanel
Id: enbloc-resection-panel
Title: "Facts of a resection"
Description: "All that was done to one lesion and how it came out."
* insert Published
* insert Category(procedure)
* code = $E#resection-panel
* focus 1..1
* focus only Reference(BodyStructure)
* partOf 1..1
* partOf only Reference(Procedure)
* insert Say(focus, [[The lesion]], [[The lesion that was resected.]])
* insert Say(partOf, [[The resection]], [[The Procedure that removed it.]])

Profile: EnblocResectionFact
Parent: EnblocFact
Id: enbloc-resection-fact
Title: "Fact of a resection"
Description: "One thing done to, or found at, the resection of one lesion. Facts for which this guide has a narrower profile follow that one."
* insert Published
* insert Category(procedure)
* code from https://enbloc.example/fhir/ValueSet/enbloc-observation (required)
* focus 1..1
* focus only Reference(BodyStructure)
* partOf 1..1
* partOf only Reference(Procedure)
* hasMember 0..0
* insert Say(partOf, [[The resection]], [[The Procedure in which it was done or found.]])
* insert Say(specimen, [[The specimen, for what was measured on it]], [[Names the specimen where the fact is about it, such as its size or the number of pieces. Together with partOf it links Procedure and Specimen, which R4 can not do otherwise.]])

Invariant: enb-step-1
Description: "A step that has ended did not end before it began."
Severity: #error
Expression: "effective.ofType(Period).all(start.empty() or end.empty() or start <= end)"

Profile: EnblocResectionStep
Parent: EnblocResectionFact
Id: enbloc-resection-step
Title: "Step of a resection"
Description: "One phase of the time line of a resection: marking, injection, incision, dissection and so on. A step is not a Procedure, so that counts of procedures stay true; speeds and durations are calculated from it."
* insert Published
* insert Coded(resection-step, step)
* effective[x] only Period
* insert Say(value[x], [[Which step]], [[The kind of step. The same kind may come several times.]])
* insert Say(effective[x], [[From when to when]], [[Begin and end by the clock of the room, with its zone.]])
* obeys enb-step-1

Profile: EnblocGeneratorSetting
Parent: EnblocResectionFact
Id: enbloc-generator-setting
Title: "Setting of the electrosurgical generator"
Description: "One setting, used in one step with one instrument. The kind of output is said in general words: names of modes belong to their makers and can not be compared."
* insert Published
* insert Coded(generator-setting, step)
* insert Say(value[x], [[The step that it was used in]], [[Settings change from step to step, so they belong to the step and not to the generator.]])
* insert Say(device, [[The generator]], [[The device by its asset number, where the report names it.]])
* insert Components
* insert CodedComponent(tool, tool-in-hand, 0..1, instrument, [[Instrument]], [[The instrument that the output went through.]])
* insert CodedComponent(output, output-kind, 0..1, output, [[Kind of output]], [[Cut or coagulation, and which kind, in general words.]])
* insert MeasuredComponent(effect, output-effect, 0..1, 1, [[Effect step]], [[The step set on the generator; it has no unit and compares within one maker's model only.]])
* insert MeasuredComponent(power, output-max-power, 0..1, W, [[Maximum power in W]], [[The limit set, in watt.]])

Profile: EnblocSubmucosalInjection
Parent: EnblocResectionFact
Id: enbloc-submucosal-injection
Title: "Submucosal injection"
Description: "One injection under the lesion and how it lifted."
* insert Published
* insert Coded(submucosal-injection, injectate)
* insert Say(value[x], [[Fluid]], [[The fluid injected, by its kind.]])
* insert Components
* insert CodedComponent(additive, injection-additive, 0.., additive, [[Additive]], [[What the fluid was mixed with: dye, adrenaline.]])
* insert MeasuredComponent(volume, injection-volume, 0..1, mL, [[Volume in mL]], [[Volume of this injection in millilitres.]])
* insert CodedComponent(lift, lift-quality, 0..1, lift, [[Quality of lift]], [[How the lesion rose.]])

Profile: EnblocPieceCount
Parent: EnblocResectionFact
Id: enbloc-piece-count
Title: "Number of pieces"
Description: "Into how many pieces the lesion came out. One piece is the fact behind en bloc; the result en bloc is derived from it."
* insert Published
* insert Measured(piece-count, 1)
* obeys enb-count-1
* insert Say(value[x], [[Pieces]], [[A whole number from 1.]])

Invariant: enb-count-1
Description: "A count is a whole number."
Severity: #error
Expression: "value.ofType(Quantity).value.all(round(0) = $this)"

Profile: EnblocMuscleInjury
Parent: EnblocResectionFact
Id: enbloc-muscle-injury
Title: "Injury of the muscle layer"
Description: "The deepest injury of the wall at the resection, by the Sydney classification of deep mural injury (Burgess et al., Gut 2017;66:1779-1789, doi:10.1136/gutjnl-2015-309848)."
* insert Published
* insert Coded(muscle-injury-type, muscle-injury)
* insert Say(value[x], [[Type]], [[Type 0 to V. Type III and above are a hole or the way to one.]])

Profile: EnblocDefectClosure
Parent: EnblocResectionFact
Id: enbloc-defect-closure
Title: "Closure of the defect"
Description: "Whether the defect was closed, and with what."
* insert Published
* insert Coded(defect-closure, closure-result)
* insert Say(value[x], [[How far it was closed]], [[Complete, partial or not closed.]])
* insert Components
* insert CodedComponent(means, closure-means-component, 0.., closure-means, [[Means]], [[What it was closed with, each kind once.]])
* insert MeasuredComponent(clips, clip-count, 0..1, 1, [[Clips]], [[Number of clips placed.]])
