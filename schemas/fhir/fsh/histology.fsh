Profile: EnblocHistologyPanel
Parent: EnblocPanel
Id: enbloc-histology-panel
Title: "Histology of a resected lesion"
Description: "What the pathologist found in one specimen, as a summary for the endoscopist's record. The laboratory's own report stays the original."
* insert Published
* insert Category(laboratory)
* code = $E#histology-panel
* specimen 1..1
* focus 0..0
* partOf 0..0
* insert Say(specimen, [[The specimen]], [[What was examined. A histological fact is about the specimen: it focuses on no place in the body and is part of no Procedure.]])

Profile: EnblocHistologyFact
Parent: EnblocFact
Id: enbloc-histology-fact
Title: "Histological fact"
Description: "One finding of the pathologist in one specimen. It overwrites nothing that the endoscopist said. Findings for which this guide has a narrower profile follow that one."
* insert Published
* insert Category(laboratory)
* code from https://enbloc.example/fhir/ValueSet/enbloc-observation (required)
* specimen 1..1
* focus 0..0
* partOf 0..0
* hasMember 0..0
* insert Say(specimen, [[The specimen]], [[What was examined.]])
* insert Say(performer, [[The pathologist]], [[Who made the finding, not who wrote it into the endoscopist's record.]])

Profile: EnblocHistologicalType
Parent: EnblocHistologyFact
Id: enbloc-histological-type
Title: "Histological type"
Description: "The type of the lesion, the type with the greatest area first."
* insert Published
* insert Ranked(histological-type, histology-type)
* insert Say(value[x], [[The type, or the words for several]], [[One type as a concept; for several the words only, and each type as a component in order of amount.]])

Profile: EnblocPTCategory
Parent: EnblocHistologyFact
Id: enbloc-pt-category
Title: "Pathological T category"
Description: "How deep the tumour reaches by the TNM classification, with the subdivisions of the mucosa and submucosa that rules on curability need."
* insert Published
* insert Coded(pt-category, pt)
* insert Say(value[x], [[Category]], [[As the pathologist gave it; nothing is derived from a depth, and no depth from it.]])

Profile: EnblocSubmucosalDepth
Parent: EnblocHistologyFact
Id: enbloc-submucosal-depth
Title: "Depth of submucosal invasion"
Description: "How far the tumour reaches into the submucosa, in micrometres. Limits of curability (500 µm in the stomach, 1000 µm in the colorectum, 200 µm in squamous oesophagus) refer to it, so it is a figure and not a category. Two depths compare only when they were measured from the same line."
* insert Published
* insert Measured(sm-depth, um)
* insert Say(value[x], [[Depth in µm]], [[From the base line to the deepest tumour cell, in micrometres.]])
* insert Components
* insert CodedComponent(baseline, depth-base-line, 0..1, depth-from, [[Base line]], [[The line that the depth was measured from: the muscularis mucosae where it can be identified, else the surface of the lesion, or the boundary of head and stalk.]])

Invariant: enb-margin-1
Description: "The distance to a margin is not negative."
Severity: #error
Expression: "component.where(code.coding.code = 'margin-distance').value.ofType(Quantity).value.all($this >= 0)"

Profile: EnblocHorizontalMargin
Parent: EnblocHistologyFact
Id: enbloc-horizontal-margin
Title: "Horizontal margin"
Description: "Whether tumour reaches the lateral edge of the specimen (HM). A piecemeal resection often can not be assessed, which is a finding and not a missing value. The distance has a component of its own: from a distance alone nobody may conclude that the margin is free."
* insert Published
* insert Coded(horizontal-margin-status, horizontal-margin)
* insert Say(value[x], [[HM0, HM1 or HMX]], [[Negative, positive, or can not be assessed, as the pathologist said it.]])
* insert Components
* insert MeasuredComponent(distance, margin-distance, 0..1, mm, [[Distance in mm]], [[Shortest distance from tumour to the lateral edge, in millimetres.]])
* obeys enb-margin-1

Profile: EnblocVerticalMargin
Parent: EnblocHistologyFact
Id: enbloc-vertical-margin
Title: "Vertical margin"
Description: "Whether tumour reaches the deep edge of the specimen (VM). It is told apart from the horizontal margin because the two mean different things for what follows."
* insert Published
* insert Coded(vertical-margin-status, vertical-margin)
* insert Say(value[x], [[VM0, VM1 or VMX]], [[Negative, positive, or can not be assessed, as the pathologist said it.]])
* insert Components
* insert MeasuredComponent(distance, margin-distance, 0..1, um, [[Distance in µm]], [[Shortest distance from tumour to the deep edge, in micrometres.]])
* obeys enb-margin-1

Profile: EnblocLymphaticInvasion
Parent: EnblocHistologyFact
Id: enbloc-lymphatic-invasion
Title: "Lymphatic invasion"
Description: "Tumour cells in lymphatic vessels (Ly). Apart from venous invasion, because rules ask for each; where the pathologist gave one answer for both, the profile Lymphovascular invasion holds it."
* insert Published
* insert Coded(lymphatic-invasion-status, lymphatic-invasion)
* insert Say(value[x], [[Ly0, Ly1, or can not be assessed]], [[As the pathologist said it.]])

Profile: EnblocVenousInvasion
Parent: EnblocHistologyFact
Id: enbloc-venous-invasion
Title: "Venous invasion"
Description: "Tumour cells in veins (V)."
* insert Published
* insert Coded(venous-invasion-status, venous-invasion)
* insert Say(value[x], [[V0, V1, or can not be assessed]], [[As the pathologist said it.]])

Profile: EnblocLymphovascularInvasion
Parent: EnblocHistologyFact
Id: enbloc-lymphovascular-invasion
Title: "Lymphovascular invasion"
Description: "One answer for lymphatic vessels and veins together. Present says that one of them is invaded, not which."
* insert Published
* insert Coded(lymphovascular-invasion-status, lymphovascular-invasion)
* insert Say(value[x], [[Absent, present, or can not be assessed]], [[As the pathologist said it.]])

Profile: EnblocTumourBudding
Parent: EnblocHistologyFact
Id: enbloc-tumour-budding
Title: "Tumour budding"
Description: "Grade of budding at the invasive front by the International Tumor Budding Consensus Conference 2016 (Lugli et al., Mod Pathol 2017;30:1299-1311, doi:10.1038/modpathol.2017.46)."
* insert Published
* insert Coded(tumour-budding, budding)
* insert Say(value[x], [[BD1, BD2, BD3, or can not be assessed]], [[The grade. The number counted is a fact of its own, because it means nothing without the field that it was counted in.]])

Profile: EnblocBuddingCount
Parent: EnblocHistologyFact
Id: enbloc-budding-count
Title: "Number of tumour buds"
Description: "The number of buds counted in the hotspot, and the area of the field."
* insert Published
* insert Measured(budding-count, 1)
* obeys enb-count-1
* insert Say(value[x], [[Buds]], [[A whole number, in the field of the component.]])
* insert Components
* insert MeasuredComponent(field, counted-field, 0..1, mm2, [[Field in mm2]], [[Area of the field counted, in square millimetres; 0.785 for the field that the consensus conference names.]])

Profile: EnblocHistologicalUlceration
Parent: EnblocHistologyFact
Id: enbloc-histological-ulceration
Title: "Ulceration in histology"
Description: "Whether the pathologist found an ulcer or its scar in the tumour. Scars of biopsies do not count."
* insert Published
* insert Coded(histological-ulceration, ulceration)
* insert Say(value[x], [[Ulcer or scar]], [[No ulceration (UL0), or what kind (UL1).]])

Profile: EnblocHistologicalSize
Parent: EnblocHistologyFact
Id: enbloc-histological-size
Title: "Tumour size in histology, long diameter"
Description: "The long diameter of the tumour on the map of the slides. It has the same standard code as the size at endoscopy; specimen and method tell the two apart."
* insert Published
* insert Measured(tumour-size-long, mm)
* method 1..1
* method = $E#method-histological-mapping
* insert Say(value[x], [[Long diameter in mm]], [[Greatest diameter of the tumour, not of the specimen, in millimetres.]])
