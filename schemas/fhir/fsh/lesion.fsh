Profile: EnblocLesion
Parent: BodyStructure
Id: enbloc-lesion
Title: "Lesion"
Description: "One lesion as a place in the body. It keeps the identity of the lesion from the first look to follow-up, and findings focus on it: what is removed, and what grows back there, is at this place."
* insert Published
* insert Identified
* active 1..1
* location 1..1
* location from https://enbloc.example/fhir/ValueSet/enbloc-lesion-place (required)
* patient only Reference(Patient)
* insert Say(active, [[Whether the record holds]], [[False only when the case was withdrawn. R4 gives this type no other status.]])
* insert Say(location, [[Site, or organ]], [[The site as precisely as it is known.]])
* insert Say(locationQualifier, [[Third, side, lining]], [[Where in the site, as far as it is known.]])
* insert Say(description, [[Number and place in words]], [[The number of the lesion in the report and where it lies.]])

Invariant: enb-cond-1
Description: "A diagnosis that is confirmed or refuted rests on evidence, and a resection's histology is evidence."
Severity: #error
Expression: "verificationStatus.coding.where(code = 'confirmed' or code = 'refuted').exists() implies evidence.detail.exists()"

Profile: EnblocLesionCondition
Parent: Condition
Id: enbloc-lesion-condition
Title: "Diagnosis of a lesion"
Description: "What the lesion is: suspected by the endoscopist, then confirmed or refuted by the pathologist, as one resource whose status changes."
* insert Published
* insert Identified
* verificationStatus 1..1
* code 1..1
* code from https://enbloc.example/fhir/ValueSet/enbloc-condition (required)
* bodySite 1..1
* bodySite from https://enbloc.example/fhir/ValueSet/enbloc-lesion-place (required)
* subject only Reference(Patient)
* insert Say(verificationStatus, [[Provisional, confirmed, refuted]], [[Provisional until a pathologist has given the type in a final report.]])
* insert Say(clinicalStatus, [[Active]], [[Left active after a curative resection: whether a cancer is in remission is not for this record to say.]])
* insert Say(code, [[Diagnosis]], [[A class that is broad enough to be true; the type, grade and depth are the pathologist's facts.]])
* insert Say(evidence, [[What it rests on]], [[The panels of endoscopic and histological facts.]])
* insert Say(stage, [[T category]], [[The pathological T category, with the fact that it comes from.]])
* obeys enb-cond-1

Invariant: enb-spec-1
Description: "A part in one container names the specimen that it is a part of."
Severity: #error
Expression: "type.coding.where(code = 'specimen-container').exists() implies parent.exists()"

Profile: EnblocSpecimen
Parent: Specimen
Id: enbloc-specimen
Title: "Resection specimen"
Description: "What was sent to the laboratory from one lesion; and, when it left the room in several containers, the part in each."
* insert Published
* insert Identified
* type 1..1
* type from https://enbloc.example/fhir/ValueSet/enbloc-specimen (required)
* subject 1..1
* subject only Reference(Patient)
* collection 1..1
* collection.collected[x] 1..1
* collection.collected[x] only dateTime
* collection.method 1..1
* collection.bodySite 1..1
* collection.bodySite from https://enbloc.example/fhir/ValueSet/enbloc-lesion-place (required)
* insert Say(accessionIdentifier, [[Number of the laboratory]], [[Known once the laboratory has accepted it; the link to the laboratory's own report.]])
* insert Say(collection.collected[x], [[When it was free]], [[End of dissection or snaring.]])
* insert Say(collection.bodySite, [[Where it comes from]], [[The site of the lesion, or its organ.]])
* insert Say(processing, [[Pinning, orientation, fixation]], [[How it was prepared, with times where they are known: the pathologist's measures depend on it.]])
* insert Say(container, [[Container]], [[Its label and the number of pieces in it.]])
* insert Say(parent, [[The whole]], [[For a part in one of several containers.]])
* obeys enb-spec-1
