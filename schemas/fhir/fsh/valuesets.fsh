ValueSet: EnblocYesNo
Id: enbloc-yes-no
Title: "Yes or no"
Description: "The two answers to a question. What was not answered has a dataAbsentReason, which is neither."
* insert Published
* ^copyright = "This material includes SNOMED Clinical Terms (SNOMED CT), which is used by permission of SNOMED International. Both codes belong to the SNOMED CT Global Patient Set (Creative Commons Attribution 4.0 International)."
* $SCT#373066001 "Yes (qualifier value)"
* $SCT#373067005 "No (qualifier value)"

ValueSet: EnblocLesionPlace
Id: enbloc-lesion-place
Title: "Place of a lesion"
Description: "The site of a lesion, or its organ where the site is not known."
* insert Published
* include codes from valueset https://enbloc.example/fhir/ValueSet/enbloc-site
* include codes from valueset https://enbloc.example/fhir/ValueSet/enbloc-organ

ValueSet: EnblocCurabilityRule
Id: enbloc-curability-rule
Title: "Rules on curability"
Description: "The rules that answer whether an endoscopic resection was curative, or how high the risk is that is left."
* insert Published
* $E#r2-gastric-curability-ecura
* $E#r2-gastric-curability-esge2022
* $E#r5-oeso-eac-curability
* $E#r5-oeso-eac-curability-esge2022
* $E#r5-oeso-scc-curability-esge2022
* $E#r5-oeso-scc-curability-jes
* $E#r6-colorectal-t1-esge2022
* $E#r6-colorectal-t1-jsccr
* $E#r10-metric-curative-esge2022
* $E#r10-metric-curative-jes
* $E#r10-metric-curative-jges2020

ValueSet: EnblocECura
Id: enbloc-ecura
Title: "eCura classes"
Description: "The classes of endoscopic curability of gastric cancer by JGES and JGCA (Ono et al., Dig Endosc 2021, doi:10.1111/den.13883)."
* insert Published
* $E#ecura-a
* $E#ecura-b
* $E#ecura-c-1
* $E#ecura-c-2
