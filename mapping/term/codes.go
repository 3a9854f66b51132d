package term

import (
	_ "embed"
	"fmt"
	"strings"
	"sync"
)

// Licence is what a code may be used under.
type Licence string

// Classes of licence.
const (
	SNOMEDGlobal   Licence = "snomed-gps"      // SNOMED CT Global Patient Set, CC BY 4.0
	SNOMEDLicensed Licence = "snomed-licensed" // SNOMED CT outside it: the site needs a licence
	LOINC          Licence = "loinc"
	ICD            Licence = "icd"  // ICD-10, World Health Organization
	ICDO           Licence = "icdo" // ICD-O-3, World Health Organization
	ATC            Licence = "atc"
	UCUM           Licence = "ucum"
	HL7            Licence = "hl7" // HL7 terminology and FHIR code systems
	DICOM          Licence = "dicom"
)

// Code is one standard code.
type Code struct {
	Key     string // our short name for it, such as "site.stomach"
	System  string // canonical URI of the code system
	Code    string
	Display string // as its source spells it; "" when it must not be sent
	Licence Licence
	Use     string // what it is used for here
	// ConfirmedIn names the public sources that show code and meaning together.
	ConfirmedIn string
}

//go:embed codes.tsv
var codesTSV string

type codeTable struct {
	list   []Code
	byKey  map[string]Code
	byCode map[string]Code // system + "|" + code
}

var codes = sync.OnceValue(func() codeTable {
	t := codeTable{byKey: map[string]Code{}, byCode: map[string]Code{}}
	for _, f := range rows(codesTSV, 7) {
		c := Code{Key: f[0], System: f[1], Code: f[2], Display: f[3],
			Licence: Licence(f[4]), Use: f[5], ConfirmedIn: f[6]}
		t.list = append(t.list, c)
		t.byKey[c.Key] = c
		t.byCode[c.System+"|"+c.Code] = c
	}
	return t
})

// Codes lists every standard code in the table.
func Codes() []Code { return codes().list }

// Lookup returns the standard code with the given key.
func Lookup(key string) (Code, bool) {
	c, ok := codes().byKey[key]
	return c, ok
}

// Known reports whether a coding may be sent: its code stands in one of the
// two tables and its display, if it has one, is exactly the table's.
func Known(system, code, display string) bool {
	if system == System {
		c, ok := concepts().byCode[code]
		return ok && display == c.Display
	}
	c, ok := codes().byCode[system+"|"+code]
	return ok && display == c.Display
}

// rows splits a table with a heading into its fields. The tables are part of
// the program, so a malformed one stops it at the first use.
func rows(tsv string, fields int) [][]string {
	lines := strings.Split(strings.TrimSuffix(tsv, "\n"), "\n")
	out := make([][]string, 0, len(lines))
	for i, line := range lines[1:] {
		f := strings.Split(line, "\t")
		if len(f) != fields {
			panic(fmt.Sprintf("term: line %d of a code table has %d fields, not %d", i+2, len(f), fields))
		}
		out = append(out, f)
	}
	return out
}
