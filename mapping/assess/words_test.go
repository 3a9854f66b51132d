package assess

import (
	"go/ast"
	"go/parser"
	"go/token"
	"path/filepath"
	"reflect"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/mapping/report"
)

// words are the values that each enumerated type of the report may take beside
// the kinds of absence, for random reports. [TestWordsAreThoseOfTheReport] holds
// this table against the constants of package report.
var words = map[reflect.Type][]string{
	reflect.TypeFor[report.Answer]():                {"yes", "no"},
	reflect.TypeFor[report.Sign]():                  {"positive", "negative", "cannot-be-assessed"},
	reflect.TypeFor[report.Intent]():                {"curative", "diagnostic-excision", "local-recurrence", "palliative"},
	reflect.TypeFor[report.EarlierKind]():           {"biopsy", "endoscopic-resection", "surgery", "ablation"},
	reflect.TypeFor[report.EarlierIndication]():     {"absolute", "expanded", "relative"},
	reflect.TypeFor[report.EarlierECura]():          {"A", "B", "C-1", "C-2"},
	reflect.TypeFor[report.AntithromboticHistory](): {"complete-list", "none-taken", "incomplete-list"},
	reflect.TypeFor[report.DrugClass]():             {"aspirin", "p2y12-antagonist", "cilostazol", "other-antiplatelet", "warfarin", "direct-oral-anticoagulant", "heparin", "low-molecular-weight-heparin", "other-anticoagulant"},
	reflect.TypeFor[report.Agent]():                 {"aspirin", "clopidogrel", "prasugrel", "ticagrelor", "cilostazol", "warfarin", "apixaban", "rivaroxaban", "edoxaban", "dabigatran-etexilate", "heparin", "low-molecular-weight-heparin", "other"},
	reflect.TypeFor[report.DrugManagement]():        {"continued", "interrupted", "replaced"},
	reflect.TypeFor[report.Bridging]():              {"none", "heparin", "low-molecular-weight-heparin"},
	reflect.TypeFor[report.RiskLevel]():             {"low", "high"},
	reflect.TypeFor[report.ASAClass]():              {"1", "2", "3", "4", "5", "6"},
	reflect.TypeFor[report.HPyloriStatus]():         {"positive", "negative-never-treated", "eradicated", "eradication-failed"},
	reflect.TypeFor[report.ImplantedDevice]():       {"none", "pacemaker", "defibrillator", "neurostimulator", "other"},
	reflect.TypeFor[report.ImplantPrecaution]():     {"none", "reprogrammed", "magnet", "therapies-switched-off", "bipolar-only", "specialist-present"},
	reflect.TypeFor[report.ElectrodeSite]():         {"left-thigh", "right-thigh", "left-buttock", "right-buttock", "calf", "upper-arm", "back", "other"},
	reflect.TypeFor[report.SedationDepth]():         {"none", "minimal", "moderate", "deep", "general-anaesthesia"},
	reflect.TypeFor[report.SedationDrug]():          {"propofol", "midazolam", "fentanyl", "pethidine", "remifentanil", "remimazolam", "ketamine", "hyoscine-butylbromide", "glucagon", "other"},
	reflect.TypeFor[report.Route]():                 {"intravenous", "intramuscular", "oral", "topical"},
	reflect.TypeFor[report.EventKind]():             {"bleeding", "perforation", "stricture", "coagulation-syndrome", "aspiration-pneumonia", "infection", "cardiorespiratory", "sedation", "thromboembolism", "subcutaneous-emphysema", "death", "other"},
	reflect.TypeFor[report.EventTiming]():           {"during", "after"},
	reflect.TypeFor[report.Symptom]():               {"haematemesis", "melaena", "haematochezia", "syncope", "pain", "fever", "dysphagia"},
	reflect.TypeFor[report.InterventionKind]():      {"endoscopic-haemostasis", "endoscopic-closure", "endoscopic-dilation", "endoscopy-without-treatment", "interventional-radiology", "percutaneous-drainage", "surgery", "ventilatory-support"},
	reflect.TypeFor[report.Contact]():               {"none", "phone-call-only", "outpatient-visit", "emergency-visit"},
	reflect.TypeFor[report.DrugTreatment]():         {"none", "supportive-only", "beyond-supportive"},
	reflect.TypeFor[report.EventOutcome]():          {"resolved", "recovering", "ongoing", "resolved-with-sequelae", "fatal"},
	reflect.TypeFor[report.HistologyStatus]():       {"preliminary", "final", "amended", "corrected"},
	reflect.TypeFor[report.HistologyType]():         {"pap", "tub1", "tub2", "por1", "por2", "sig", "muc", "adenocarcinoma", "squamous-cell-carcinoma", "squamous-intraepithelial-neoplasia", "glandular-dysplasia", "adenoma", "tubular-adenoma", "tubulovillous-adenoma", "villous-adenoma", "sessile-serrated-lesion", "sessile-serrated-lesion-with-dysplasia", "traditional-serrated-adenoma", "hyperplastic-polyp", "neuroendocrine-tumour", "neuroendocrine-carcinoma", "undifferentiated-carcinoma", "medullary-carcinoma", "no-neoplasia"},
	reflect.TypeFor[report.Grade]():                 {"well-differentiated", "moderately-differentiated", "poorly-differentiated", "undifferentiated", "cannot-be-assessed"},
	reflect.TypeFor[report.Dysplasia]():             {"none", "low-grade", "high-grade"},
	reflect.TypeFor[report.PT]():                    {"pTX", "pT0", "pTis", "pT1a", "pT1a-EP", "pT1a-LPM", "pT1a-MM", "pT1b", "pT1b-SM1", "pT1b-SM2", "pT1b-SM3", "pT1", "pT2", "pT3-or-deeper"},
	reflect.TypeFor[report.DepthFrom]():             {"muscularis-mucosae", "lesion-surface", "head-stalk-boundary"},
	reflect.TypeFor[report.Budding]():               {"BD1", "BD2", "BD3", "cannot-be-assessed"},
	reflect.TypeFor[report.Organ]():                 {"oesophagus", "stomach", "duodenum", "colon", "rectum"},
	reflect.TypeFor[report.Site]():                  {"cervical-oesophagus", "thoracic-oesophagus", "abdominal-oesophagus", "gastro-oesophageal-junction", "cardia", "fundus", "body", "angular-incisure", "antrum", "prepylorus", "pylorus", "remnant-stomach", "duodenal-bulb", "second-part", "third-part", "fourth-part", "major-papilla", "terminal-ileum", "caecum", "ileocaecal-valve", "ascending-colon", "hepatic-flexure", "transverse-colon", "splenic-flexure", "descending-colon", "sigmoid-colon", "rectosigmoid-junction", "upper-rectum", "lower-rectum", "dentate-line"},
	reflect.TypeFor[report.Third]():                 {"upper", "middle", "lower"},
	reflect.TypeFor[report.Wall]():                  {"anterior", "posterior", "lesser-curvature", "greater-curvature", "left", "right", "medial", "lateral", "circumferential"},
	reflect.TypeFor[report.Mucosa]():                {"squamous", "barrett", "columnar"},
	reflect.TypeFor[report.ParisType]():             {"0-Ip", "0-Isp", "0-Is", "0-IIa", "0-IIb", "0-IIc", "0-III"},
	reflect.TypeFor[report.LST]():                   {"granular-homogeneous", "granular-nodular-mixed", "non-granular-flat-elevated", "non-granular-pseudodepressed"},
	reflect.TypeFor[report.Ulceration]():            {"absent", "ulcer", "ulcer-scar", "biopsy-scar", "biopsy-or-ulcer-scar-indistinguishable"},
	reflect.TypeFor[report.Access]():                {"easy", "difficult"},
	reflect.TypeFor[report.NICE]():                  {"1", "2", "3"},
	reflect.TypeFor[report.JNET]():                  {"1", "2A", "2B", "3"},
	reflect.TypeFor[report.JNETVessel]():            {"invisible", "regular", "variable-calibre-irregular-distribution", "loose-areas-or-interrupted-thick-vessels"},
	reflect.TypeFor[report.JNETSurface]():           {"regular-spots", "regular-tubular-branched-papillary", "irregular-or-obscure", "amorphous"},
	reflect.TypeFor[report.Kudo]():                  {"I", "II", "IIIS", "IIIL", "IV", "VI-mild", "VI-severe", "VN"},
	reflect.TypeFor[report.Pattern]():               {"regular", "irregular", "absent"},
	reflect.TypeFor[report.Layer]():                 {"mucosa", "submucosa", "muscularis-propria"},
	reflect.TypeFor[report.PredictedDepth]():        {"T1a", "T1a-EP-LPM", "T1a-MM-or-T1b-SM1", "T1b", "T1b-SM1", "T1b-SM2", "T2-or-deeper"},
	reflect.TypeFor[report.ClinicalN]():             {"N0", "N-positive"},
	reflect.TypeFor[report.Position]():              {"left-lateral", "right-lateral", "supine", "prone"},
	reflect.TypeFor[report.Gravity]():               {"opens-the-flap", "closes-the-flap", "across-the-flap"},
	reflect.TypeFor[report.FollowUpKind]():          {"endoscopy", "computed-tomography", "ultrasound", "outpatient-visit"},
	reflect.TypeFor[report.HPyloriPlan]():           {"test", "eradicate", "confirm-eradication", "nothing"},
	reflect.TypeFor[report.ReferralTo]():            {"multidisciplinary-board", "surgery", "oncology", "radiotherapy", "expert-pathology-review"},
	reflect.TypeFor[report.Status]():                {"draft", "signed", "amended", "corrected", "withdrawn"},
	reflect.TypeFor[report.OperatorRole]():          {"operator", "trainee", "supervisor", "assistant"},
	reflect.TypeFor[report.SessionKind]():           {"upper-endoscopy", "colonoscopy", "sigmoidoscopy", "enteroscopy"},
	reflect.TypeFor[report.Endoscope]():             {"gastroscope", "colonoscope", "enteroscope", "side-viewing-duodenoscope"},
	reflect.TypeFor[report.InsufflantGas]():         {"carbon-dioxide", "air"},
	reflect.TypeFor[report.ImageView]():             {"white-light", "image-enhanced", "magnified", "marking", "after-incision", "defect", "closure", "pinned-specimen", "landmark"},
	reflect.TypeFor[report.Technique]():             {"esd", "hybrid-esd", "emr", "precut-emr", "underwater-emr", "hot-snare", "cold-snare", "full-thickness-resection"},
	reflect.TypeFor[report.TechniqueAid]():          {"pocket-creation", "tunnel", "traction-clip-and-line", "traction-internal", "traction-other", "underwater"},
	reflect.TypeFor[report.Completion]():            {"complete", "partial", "abandoned"},
	reflect.TypeFor[report.StopReason]():            {"fibrosis", "signs-of-deep-invasion", "perforation", "bleeding", "poor-access", "sedation-or-cardiorespiratory", "time", "other"},
	reflect.TypeFor[report.Step]():                  {"marking", "injection", "incision", "trimming", "dissection", "snaring", "haemostasis", "base-coagulation", "closure"},
	reflect.TypeFor[report.Injectate]():             {"saline", "sodium-hyaluronate", "glycerol-fructose", "hydroxyethyl-starch", "succinylated-gelatin", "other-viscous-solution"},
	reflect.TypeFor[report.InjectateDye]():          {"adrenaline", "indigo-carmine", "methylene-blue"},
	reflect.TypeFor[report.Side]():                  {"near", "far", "left", "right"},
	reflect.TypeFor[report.Extent]():                {"partial", "circumferential"},
	reflect.TypeFor[report.Lift]():                  {"good", "fair", "poor", "none"},
	reflect.TypeFor[report.InjectionTiming]():       {"initial", "repeat"},
	reflect.TypeFor[report.Instrument]():            {"needle-type-knife", "needle-type-knife-with-water-jet", "insulated-tip-knife", "scissor-type-knife", "hook-knife", "haemostatic-forceps", "snare", "argon-plasma-probe"},
	reflect.TypeFor[report.Output]():                {"pure-cut", "pulsed-cut", "blended-cut", "dissecting-coagulation", "forced-coagulation", "soft-coagulation", "spray-coagulation", "argon-plasma-coagulation", "bipolar-coagulation"},
	reflect.TypeFor[report.VesselSize]():            {"small", "large"},
	reflect.TypeFor[report.VesselWhen]():            {"before-cutting", "after-bleeding", "cut-without-prior-coagulation", "after-resection"},
	reflect.TypeFor[report.VesselTool]():            {"knife", "haemostatic-forceps", "clip"},
	reflect.TypeFor[report.BleedingKind]():          {"oozing", "spurting"},
	reflect.TypeFor[report.Fibrosis]():              {"F0", "F1", "F2"},
	reflect.TypeFor[report.MuscleInjury]():          {"0", "I", "II", "III", "IV", "V"},
	reflect.TypeFor[report.ClosureResult]():         {"not-closed", "partly-closed", "closed"},
	reflect.TypeFor[report.ClosureMean]():           {"through-the-scope-clip", "cap-mounted-clip", "endoscopic-suture", "clip-and-loop", "absorbable-sheet", "haemostatic-gel-or-powder"},
	reflect.TypeFor[report.StricturePrevention]():   {"none", "oral-steroid", "injected-steroid", "oral-and-injected-steroid"},
	reflect.TypeFor[report.Orientation]():           {"marked", "not-marked"},
	reflect.TypeFor[report.Fixative]():              {"10-percent-neutral-buffered-formalin", "other"},
}

// TestWordsAreThoseOfTheReport holds the table of words against the constants
// of package report.
func TestWordsAreThoseOfTheReport(t *testing.T) {
	t.Parallel()
	have := map[string][]string{}
	for typ, list := range words {
		have[typ.Name()] = list
	}
	names, err := filepath.Glob("../report/*.go")
	require.NoError(t, err)
	want := map[string][]string{}
	for _, name := range names {
		if strings.HasSuffix(name, "_test.go") {
			continue
		}
		file, err := parser.ParseFile(token.NewFileSet(), name, nil, 0)
		require.NoError(t, err)
		ast.Inspect(file, func(n ast.Node) bool {
			spec, ok := n.(*ast.ValueSpec)
			if !ok || spec.Type == nil || len(spec.Values) != 1 {
				return true
			}
			typ, isName := spec.Type.(*ast.Ident)
			value, isText := spec.Values[0].(*ast.BasicLit)
			if isName && isText && value.Kind == token.STRING && typ.Name != "Absence" && typ.Name != "Severity" {
				text, err := strconv.Unquote(value.Value)
				require.NoError(t, err)
				want[typ.Name] = append(want[typ.Name], text)
			}
			return true
		})
	}
	if want["ASAClass"] == nil { // six digits that need no names
		want["ASAClass"] = []string{"1", "2", "3", "4", "5", "6"}
	}
	for name, list := range want {
		require.ElementsMatch(t, list, have[name], name)
	}
	require.Len(t, have, len(want))
}
