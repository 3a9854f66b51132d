Profile: EnblocLesionPanel
Parent: EnblocPanel
Id: enbloc-lesion-panel
Title: "Endoscopic findings of a lesion"
Description: "All that was seen of one lesion before anything was cut. A lesion that was seen and left has this panel too."
* insert Published
* insert Category(procedure)
* code = $E#lesion-endoscopic-panel
* focus 1..1
* focus only Reference(BodyStructure)
* partOf 1..1
* partOf only Reference(Procedure)
* bodySite 1..1
* bodySite from https://enbloc.example/fhir/ValueSet/enbloc-lesion-place (required)
* insert Say(focus, [[The lesion]], [[The lesion as a place in the body, which keeps its identity from the first look to the last follow-up.]])
* insert Say(partOf, [[The session]], [[The endoscopy in which the lesion was seen, not the resection: what was seen does not depend on whether anything was cut.]])
* insert Say(bodySite, [[Where the lesion lies]], [[The site, or the organ where the site is not known. It repeats the location of the lesion for searches by site.]])
* insert Say(note, [[Comment of the endoscopist]], [[Free text about the lesion that no fact holds.]])

Profile: EnblocEndoscopicFinding
Parent: EnblocFact
Id: enbloc-endoscopic-finding
Title: "Endoscopic finding"
Description: "One thing seen of one lesion before its removal. Findings for which this guide has a narrower profile follow that one."
* insert Published
* insert Category(procedure)
* code from https://enbloc.example/fhir/ValueSet/enbloc-observation (required)
* focus 1..1
* focus only Reference(BodyStructure)
* partOf 1..1
* partOf only Reference(Procedure)
* specimen 0..0
* hasMember 0..0
* insert Say(focus, [[The lesion]], [[The lesion that the finding is about.]])
* insert Say(partOf, [[The session]], [[The endoscopy in which it was seen.]])
* insert Say(method, [[How it was seen]], [[Estimate, magnification, full insufflation. A size estimated at endoscopy and one measured on the specimen differ by method and specimen, not by code alone.]])

Profile: EnblocLesionLocation
Parent: EnblocEndoscopicFinding
Id: enbloc-lesion-location
Title: "Location of a lesion"
Description: "The place of the lesion as a fact, so that a rule that depends on it can name it as its input. The lesion as a BodyStructure says the same."
* insert Published
* code = $E#lesion-location
* value[x] only CodeableConcept
* value[x] from https://enbloc.example/fhir/ValueSet/enbloc-lesion-place (required)
* insert Say(value[x], [[Site, or organ]], [[The site as precisely as it is known.]])
* insert Components
* insert CodedComponent(organ, location-organ, 0..1, organ, [[Organ]], [[The organ that guidelines distinguish.]])
* insert CodedComponent(third, location-third, 0..1, third, [[Third of the organ]], [[Upper, middle or lower third, of the stomach above all: the risk of bleeding is published by third.]])
* insert CodedComponent(wall, location-wall, 0..1, wall, [[Side]], [[Anterior or posterior wall, lesser or greater curvature, or the side in the lumen of a tube.]])
* insert CodedComponent(mucosa, location-mucosa, 0..1, mucosa, [[Lining]], [[The kind of mucosa around the lesion, such as the lining of Barrett's oesophagus.]])

Profile: EnblocLesionSize
Parent: EnblocEndoscopicFinding
Id: enbloc-lesion-size
Title: "Endoscopic size of a lesion, long diameter"
Description: "The long diameter estimated before removal. It stays when the pathologist measures another: both are facts."
* insert Published
* insert Measured(lesion-size-long, mm)
* method 1..1
* method = $E#method-endoscopic-estimate
* insert Say(value[x], [[Long diameter in mm]], [[Greatest diameter of the lesion in the plane of the mucosa, in millimetres.]])

Profile: EnblocParisType
Parent: EnblocEndoscopicFinding
Id: enbloc-paris-type
Title: "Paris type"
Description: "Shape of a superficial lesion by the Paris classification (Endoscopic Classification Review Group, Endoscopy 2005;37:570-578, doi:10.1055/s-2005-861352). A mixed shape such as 0-IIa+IIc has the dominant type first."
* insert Published
* insert Ranked(paris-type, paris)
* insert Say(value[x], [[The type, or the words for a mixed type]], [[One type as a concept; for a mixed type the words only, and each type as a component.]])

Profile: EnblocLSTSubtype
Parent: EnblocEndoscopicFinding
Id: enbloc-lst-subtype
Title: "Subtype of a lateral-spreading tumour"
Description: "Granular or non-granular, and which of either. Only for lesions that spread along the wall."
* insert Published
* insert Coded(lst-subtype, lst)
* insert Say(value[x], [[Subtype]], [[The subtype; the risk of submucosal invasion is published by it.]])

Profile: EnblocNICEClass
Parent: EnblocEndoscopicFinding
Id: enbloc-nice-class
Title: "NICE class"
Description: "Class of a colorectal lesion in narrow-band light without magnification."
* insert Published
* insert Coded(nice-class, nice)
* insert Say(value[x], [[Class]], [[Class 1, 2 or 3. The class is what was seen, not the histology that it predicts.]])

Profile: EnblocJNETClass
Parent: EnblocEndoscopicFinding
Id: enbloc-jnet-class
Title: "JNET class"
Description: "Class of a colorectal lesion under magnification, from its vessel and surface pattern."
* insert Published
* insert Coded(jnet-class, jnet)
* insert Say(value[x], [[Class]], [[Class 1, 2A, 2B or 3.]])
* insert Components
* insert CodedComponent(vessel, jnet-vessel-component, 0..1, jnet-vessel, [[Vessel pattern]], [[The vessels that led to the class.]])
* insert CodedComponent(surface, jnet-surface-component, 0..1, jnet-surface, [[Surface pattern]], [[The surface that led to the class.]])

Profile: EnblocKudoPattern
Parent: EnblocEndoscopicFinding
Id: enbloc-kudo-pattern
Title: "Pit pattern"
Description: "Pit pattern of a colorectal lesion by Kudo under magnification, the dominant one first."
* insert Published
* insert Ranked(kudo-pattern, kudo)
* insert Say(value[x], [[The pattern, or the words for several]], [[One pattern as a concept; for several the words only, and each as a component.]])

Profile: EnblocEndoscopicUlceration
Parent: EnblocEndoscopicFinding
Id: enbloc-endoscopic-ulceration
Title: "Ulceration at endoscopy"
Description: "Whether the lesion holds an ulcer or its scar, as seen. Guidelines for the stomach ask for it before and for the pathologist's answer after the resection: two facts."
* insert Published
* insert Coded(endoscopic-ulceration, ulceration)
* insert Say(value[x], [[Ulcer or scar]], [[No ulceration (UL0), or what kind (UL1).]])

Profile: EnblocNonLiftingSign
Parent: EnblocEndoscopicFinding
Id: enbloc-non-lifting-sign
Title: "Non-lifting sign"
Description: "Whether the lesion stays down when fluid is injected under it."
* insert Published
* insert Coded(non-lifting-sign, sign)
* insert Say(value[x], [[Positive, negative or not assessable]], [[Positive means that it did not lift. Scars of earlier biopsies make it positive too.]])

Profile: EnblocPredictedDepth
Parent: EnblocEndoscopicFinding
Id: enbloc-predicted-depth
Title: "Predicted depth"
Description: "How deep the endoscopist expects the lesion to reach, before any histology."
* insert Published
* insert Coded(predicted-depth, predicted-depth)
* insert Say(value[x], [[Depth expected]], [[An expectation: it is never read as the depth found by the pathologist.]])
