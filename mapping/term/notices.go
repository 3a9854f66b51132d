package term

// Notices that have to stand wherever the codes are shown or shipped. Their
// wording is from memory of the publishers' terms; a site has it checked.
const (
	NoticeSNOMED = "This material includes SNOMED Clinical Terms (SNOMED CT), which is used by permission of " +
		"SNOMED International. SNOMED CT was originally created by the College of American Pathologists. " +
		"Codes of the SNOMED CT Global Patient Set are used under the Creative Commons Attribution 4.0 " +
		"International licence. All other SNOMED CT codes are sent only where the site has declared that it " +
		"holds a SNOMED CT licence."
	NoticeLOINC = "This material contains content from LOINC (http://loinc.org). LOINC is copyright Regenstrief " +
		"Institute, Inc. and the Logical Observation Identifiers Names and Codes (LOINC) Committee and is " +
		"available at no cost under the license at http://loinc.org/license. LOINC is a registered United " +
		"States trademark of Regenstrief Institute, Inc."
	NoticeUCUM = "This material contains codes of the Unified Code for Units of Measure (UCUM, https://ucum.org), " +
		"copyright Regenstrief Institute, Inc. and the UCUM Organization, used unchanged under the UCUM licence " +
		"(https://ucum.org/license)."
)
