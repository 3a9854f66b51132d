package term_test

import (
	"go/ast"
	"go/parser"
	"go/token"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/mapping/term"
)

// groupOf says which group of concepts stands for an enumeration of the report.
var groupOf = map[string]string{
	"OperatorRole": "operator-role", "SessionKind": "session-kind", "Endoscope": "endoscope", "InsufflantGas": "gas", "ImageView": "view",
	"Intent": "intent", "EarlierKind": "earlier", "EarlierIndication": "earlier-indication", "AntithromboticHistory": "antithrombotic-history",
	"DrugClass": "drug-class", "Agent": "agent", "DrugManagement": "management", "Bridging": "bridging", "RiskLevel": "risk-level",
	"ASAClass": "asa", "HPyloriStatus": "h-pylori", "ImplantedDevice": "implant", "ImplantPrecaution": "implant-precaution",
	"ElectrodeSite": "electrode-site", "SedationDepth": "sedation-depth", "SedationDrug": "sedation-drug", "Route": "route",
	"Organ": "organ", "Site": "site", "Third": "third", "Wall": "wall", "Mucosa": "mucosa", "ParisType": "paris", "LST": "lst",
	"Ulceration": "ulceration", "Access": "access", "NICE": "nice", "JNET": "jnet", "JNETVessel": "jnet-vessel", "JNETSurface": "jnet-surface",
	"Kudo": "kudo", "Pattern": "pattern", "Layer": "layer", "PredictedDepth": "predicted-depth", "ClinicalN": "clinical-n",
	"Position": "position", "Gravity": "gravity", "Sign": "sign", "Technique": "technique", "TechniqueAid": "aid", "Completion": "completion",
	"StopReason": "stop-reason", "Step": "step", "Injectate": "injectate", "InjectateDye": "additive", "Side": "side", "Extent": "extent",
	"Lift": "lift", "InjectionTiming": "injection-timing", "Instrument": "instrument", "Output": "output", "VesselSize": "vessel-size",
	"VesselWhen": "vessel-when", "VesselTool": "vessel-tool", "BleedingKind": "bleeding-kind", "Fibrosis": "fibrosis", "MuscleInjury": "muscle-injury",
	"ClosureResult": "closure-result", "ClosureMean": "closure-means", "StricturePrevention": "stricture-prevention", "Orientation": "orientation",
	"Fixative": "fixative", "HistologyType": "histology-type", "Grade": "grade", "Dysplasia": "dysplasia", "PT": "pt", "DepthFrom": "depth-from",
	"Budding": "budding", "EventKind": "event-kind", "EventTiming": "event-timing", "Symptom": "symptom", "InterventionKind": "intervention",
	"Contact": "contact", "DrugTreatment": "drug-treatment", "EventOutcome": "event-outcome", "FollowUpKind": "follow-up",
	"HPyloriPlan": "h-pylori-plan", "ReferralTo": "referral",
}

// noConcept are the enumerations that go out as codes of FHIR itself.
var noConcept = map[string]string{"Status": "resource status", "HistologyStatus": "resource status", "Absence": "dataAbsentReason",
	"Answer": "SNOMED CT yes and no", "Severity": "findings are not mapped", "EarlierECura": "concepts of the group answer"}

// Every value of every enumeration of the report has a concept: read off the
// report's source, so that a new value without one fails here.
func TestEveryEnumerationHasConcepts(t *testing.T) {
	t.Parallel()
	files, err := filepath.Glob("../report/*.go")
	require.NoError(t, err)
	values := 0
	for _, name := range files {
		if strings.HasSuffix(name, "_test.go") {
			continue
		}
		file, err := parser.ParseFile(token.NewFileSet(), name, nil, 0)
		require.NoError(t, err)
		for _, decl := range file.Decls {
			consts, ok := decl.(*ast.GenDecl)
			if !ok || consts.Tok != token.CONST {
				continue
			}
			for _, spec := range consts.Specs {
				v := spec.(*ast.ValueSpec)
				kind, ok := v.Type.(*ast.Ident)
				if !ok || len(v.Values) != 1 || noConcept[kind.Name] != "" {
					continue
				}
				literal, ok := v.Values[0].(*ast.BasicLit)
				require.True(t, ok, v.Names[0].Name)
				value, err := strconv.Unquote(literal.Value)
				require.NoError(t, err)
				group, ok := groupOf[kind.Name]
				require.True(t, ok, "enumeration %s has no group", kind.Name)
				_, ok = term.Own(group, value)
				require.True(t, ok, "%s %q has no concept in group %s", kind.Name, value, group)
				values++
			}
		}
	}
	require.Greater(t, values, 300)
}
