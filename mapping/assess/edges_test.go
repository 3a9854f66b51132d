package assess

import (
	"encoding/json"
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"
)

// edge is one published limit: a case with one figure under, on and over it.
type edge struct {
	name   string // with the source of the limit
	rule   string
	base   string // the rest of the case, as in the case files
	field  string
	key    string
	values [3]string // under, on, over
	want   [3]string // the answers, as JSON
}

const (
	gastricBase = `{"dominant":"differentiated","depth":"pT1a","sm_um":null,"size_mm":15,"ul":0,"en_bloc":true,"hm":0,"vm":0,"ly":0,"v":0,"undiff_component_mm":0,"undiff_in_sm":false}`
	bestBase    = `{"warfarin":"none","doac":"none","p2y12":"none","aspirin":"none","cilostazol":"none","haemodialysis":false,"size_mm":20,"lower_third":false,"multiple":false}`
	feverBase   = `{"hours_after":8,"local_tenderness":true,"temp_c":37,"crp_mg_dl":0.1,"wbc":8000,"perforation":false}`
	jgesBase    = `{"histology":"differentiated","size_mm":10,"ul":0,"depth":"cT1a","local_recurrence_after_eCuraC1":false}`
	esgeBase    = `{"organ":"stomach","en_bloc":true,"hm":0,"vm":0,"lvi":0,"grade":"well-moderate","depth":"intramucosal","sm_um":null,"size_mm":25,"ulcer":0}`
)

func with(base, changes string) string {
	var m, c map[string]json.RawMessage
	for text, into := range map[string]*map[string]json.RawMessage{base: &m, changes: &c} {
		if err := json.Unmarshal([]byte(text), into); err != nil {
			panic(err)
		}
	}
	for k, v := range c {
		m[k] = v
	}
	out, _ := json.Marshal(m)
	return string(out)
}

var edges = []edge{
	{"absolute EMR up to 20 mm (JGES 2nd ed.)", "R1.gastric.indication.jges2020", jgesBase, "size_mm", "indication",
		[3]string{"19.9", "20", "20.1"}, [3]string{`"absolute-EMR-or-ESD"`, `"absolute-EMR-or-ESD"`, `"absolute-ESD"`}},
	{"with ulcer up to 30 mm (JGES 2nd ed.)", "R1.gastric.indication.jges2020", with(jgesBase, `{"ul":1}`), "size_mm", "indication",
		[3]string{"29.9", "30", "30.1"}, [3]string{`"absolute-ESD"`, `"absolute-ESD"`, `"relative"`}},
	{"undifferentiated up to 20 mm (JGES 2nd ed.)", "R1.gastric.indication.jges2020", with(jgesBase, `{"histology":"undifferentiated"}`), "size_mm", "indication",
		[3]string{"19.9", "20", "20.1"}, [3]string{`"absolute-ESD"`, `"absolute-ESD"`, `"relative"`}},
	{"ESGE 2015 absolute up to 20 mm", "R1.gastric.indication.esge2015", `{"histology":"differentiated","ul":0,"depth":"T1a"}`, "size_mm", "criteria",
		[3]string{"19", "20", "21"}, [3]string{`"absolute"`, `"absolute"`, `"expanded-A"`}},
	{"ESGE 2015 expanded B up to 30 mm", "R1.gastric.indication.esge2015", `{"histology":"differentiated","ul":1,"depth":"T1a"}`, "size_mm", "criteria",
		[3]string{"29", "30", "31"}, [3]string{`"expanded-B"`, `"expanded-B"`, `"outside-criteria"`}},
	{"ESGE 2015 expanded C up to 20 mm", "R1.gastric.indication.esge2015", `{"histology":"undifferentiated","ul":0,"depth":"T1a"}`, "size_mm", "criteria",
		[3]string{"19", "20", "21"}, [3]string{`"expanded-C"`, `"expanded-C"`, `"outside-criteria"`}},
	{"ESGE 2015 expanded D up to 30 mm", "R1.gastric.indication.esge2015", `{"histology":"differentiated","ul":0,"depth":"sm1","sm_um":300}`, "size_mm", "criteria",
		[3]string{"29", "30", "31"}, [3]string{`"expanded-D"`, `"expanded-D"`, `"outside-criteria"`}},
	{"ESGE 2015 sm1 up to and including 500 µm", "R1.gastric.indication.esge2015", `{"histology":"differentiated","ul":0,"depth":"sm1","size_mm":20}`, "sm_um", "criteria",
		[3]string{"499", "500", "501"}, [3]string{`"expanded-D"`, `"expanded-D"`, `"outside-criteria"`}},
	{"Korea G3 up to 20 mm", "R1.gastric.indication.korea2020", `{"histology":"differentiated","ul":0,"depth":"mucosal"}`, "size_mm", "statement",
		[3]string{"19", "20", "21"}, [3]string{`"G3"`, `"G3"`, `"G4"`}},
	{"Korea G4 up to 30 mm", "R1.gastric.indication.korea2020", `{"histology":"differentiated","ul":1,"depth":"mucosal"}`, "size_mm", "statement",
		[3]string{"29", "30", "31"}, [3]string{`"G4"`, `"G4"`, `"none"`}},
	{"Korea G5 up to 20 mm", "R1.gastric.indication.korea2020", `{"histology":"undifferentiated","ul":0,"depth":"mucosal"}`, "size_mm", "statement",
		[3]string{"19", "20", "21"}, [3]string{`"G5"`, `"G5"`, `"none"`}},

	{"SM1 strictly below 500 µm (JGES)", "R2.gastric.curability.ecura", with(gastricBase, `{"depth":"pT1b"}`), "sm_um", "ecura",
		[3]string{"499", "500", "501"}, [3]string{`"B"`, `"C-2"`, `"C-2"`}},
	{"eCura B up to 30 mm", "R2.gastric.curability.ecura", with(gastricBase, `{"depth":"pT1b","sm_um":300}`), "size_mm", "ecura",
		[3]string{"29.9", "30", "30.1"}, [3]string{`"B"`, `"B"`, `"C-2"`}},
	{"eCura A with ulcer up to 30 mm", "R2.gastric.curability.ecura", with(gastricBase, `{"ul":1}`), "size_mm", "ecura",
		[3]string{"29.9", "30", "30.1"}, [3]string{`"A"`, `"A"`, `"C-2"`}},
	{"undifferentiated up to 20 mm", "R2.gastric.curability.ecura", with(gastricBase, `{"dominant":"undifferentiated"}`), "size_mm", "ecura",
		[3]string{"19.9", "20", "20.1"}, [3]string{`"A"`, `"A"`, `"C-2"`}},
	{"undifferentiated part above 20 mm", "R2.gastric.curability.ecura", with(gastricBase, `{"size_mm":45}`), "undiff_component_mm", "ecura",
		[3]string{"19.9", "20", "20.1"}, [3]string{`"A"`, `"A"`, `"C-2"`}},
	{"undifferentiated part above 20 mm with ulcer (our reading)", "R2.gastric.curability.ecura", with(gastricBase, `{"size_mm":28,"ul":1}`), "undiff_component_mm", "ecura",
		[3]string{"19.9", "20", "20.1"}, [3]string{`"A"`, `"A"`, `"C-2"`}},
	{"ESGE sm1 up to and including 500 µm", "R2.gastric.curability.esge2022", with(esgeBase, `{"depth":"sm1"}`), "sm_um", "risk",
		[3]string{"499", "500", "501"}, [3]string{`"low"`, `"low"`, `"high"`}},
	{"ESGE sm1 up to 30 mm (from memory)", "R2.gastric.curability.esge2022", with(esgeBase, `{"depth":"sm1","sm_um":300}`), "size_mm", "risk",
		[3]string{"29", "30", "31"}, [3]string{`"low"`, `"low"`, `"undetermined"`}},
	{"ESGE ulcerated up to 30 mm (from memory)", "R2.gastric.curability.esge2022", with(esgeBase, `{"ulcer":1}`), "size_mm", "risk",
		[3]string{"29", "30", "31"}, [3]string{`"low"`, `"low"`, `"undetermined"`}},
	{"ESGE undifferentiated up to 20 mm (from memory)", "R2.gastric.curability.esge2022", with(esgeBase, `{"grade":"undifferentiated"}`), "size_mm", "risk",
		[3]string{"19", "20", "21"}, [3]string{`"low"`, `"low"`, `"high"`}},

	{"eCura score: depth counts from 500 µm", "R3.gastric.lnm.ecura_score", `{"ly":0,"v":0,"vm":0,"size_mm":10}`, "sm_um", "points",
		[3]string{"499", "500", "501"}, [3]string{"0", "1", "1"}},
	{"eCura score: size counts above 30 mm", "R3.gastric.lnm.ecura_score", `{"ly":0,"v":0,"vm":0,"sm_um":100}`, "size_mm", "points",
		[3]string{"29.9", "30", "30.1"}, [3]string{"0", "0", "1"}},
	{"BEST-J: size counts above 30 mm", "R4.bleed.bestj", bestBase, "size_mm", "points",
		[3]string{"29.9", "30", "30.1"}, [3]string{"0", "0", "1"}},
	{"Limoges: age from 75", "R4.bleed.limoges", `{"antithrombotic":false,"rectum":false,"size_mm":30,"asa":2}`, "age", "points",
		[3]string{"74", "75", "76"}, [3]string{"0", "1", "1"}},
	{"Limoges: size counts above 50 mm", "R4.bleed.limoges", `{"antithrombotic":false,"rectum":false,"age":60,"asa":2}`, "size_mm", "points",
		[3]string{"49", "50", "51"}, [3]string{"0", "0", "3"}},
	{"Limoges: ASA from III", "R4.bleed.limoges", `{"antithrombotic":false,"rectum":false,"age":60,"size_mm":30}`, "asa", "points",
		[3]string{"2", "3", "4"}, [3]string{"0", "2", "2"}},
	{"DEBE: size counts from 50 mm", "R4.bleed.debe", `{"age":60,"asa":2,"site":"distal","anticoagulant":false,"antiplatelet":false}`, "size_mm", "points",
		[3]string{"49", "50", "51"}, [3]string{"0", "5", "5"}},
	{"DEBE: age from 75", "R4.bleed.debe", `{"size_mm":20,"asa":2,"site":"proximal","anticoagulant":false,"antiplatelet":false}`, "age", "points",
		[3]string{"74", "75", "76"}, [3]string{"1", "3", "3"}},
	{"DEBE: ASA from III", "R4.bleed.debe", `{"size_mm":20,"age":60,"site":"rectum","anticoagulant":true,"antiplatelet":false}`, "asa", "points",
		[3]string{"2", "3", "4"}, [3]string{"9", "13", "13"}},
	{"GSEED-RE: size counts from 40 mm (weights from memory)", "R4.bleed.gseed_re", `{"age":60,"asa":2,"aspirin":false,"right_sided":false,"closed":true}`, "size_mm", "points",
		[3]string{"39", "40", "41"}, [3]string{"0", "1", "1"}},
	{"GSEED-RE: age from 75 (weights from memory)", "R4.bleed.gseed_re", `{"size_mm":20,"asa":2,"aspirin":true,"right_sided":true,"closed":false}`, "age", "points",
		[3]string{"74", "75", "76"}, [3]string{"7", "8", "8"}},
	{"GSEED-RE: ASA from III (weights from memory)", "R4.bleed.gseed_re", `{"size_mm":20,"age":60,"aspirin":true,"right_sided":false,"closed":false}`, "asa", "points",
		[3]string{"2", "3", "4"}, [3]string{"4", "5", "5"}},

	{"circumferential EP/LPM up to 50 mm (JES)", "R5.oeso.scc.indication.jes", `{"depth":"EP/LPM","circumferential":true,"n":"N0"}`, "length_mm", "esd_indicated",
		[3]string{"49", "50", "51"}, [3]string{"true", "true", "false"}},
	{"steroid above 75% (Korea E6)", "R5.oeso.stricture.korea2020", `{}`, "defect_circumference_pct", "steroid_prophylaxis",
		[3]string{"74.9", "75", "75.1"}, [3]string{`"not-triggered"`, `"not-triggered"`, `"recommended"`}},
	{"adenocarcinoma: SM up to 500 µm", "R5.oeso.eac.curability", `{"depth":"sm1","size_mm":25,"grade":"well-moderate","lvi":0}`, "sm_um", "within_curative_criteria",
		[3]string{"499", "500", "501"}, [3]string{"true", "true", "false"}},
	{"adenocarcinoma: SM below 30 mm", "R5.oeso.eac.curability", `{"depth":"sm1","sm_um":300,"grade":"well-moderate","lvi":0}`, "size_mm", "within_curative_criteria",
		[3]string{"29.9", "30", "30.1"}, [3]string{"true", "false", "false"}},

	{"JSCCR: from 1000 µm", "R6.colorectal.t1.jsccr", `{"vm":0,"lvi":0,"worst_type":"tub","budding":"BD1"}`, "sm_um", "management",
		[3]string{"999", "1000", "1001"}, [3]string{`"surveillance"`, `"consider-surgery"`, `"consider-surgery"`}},
	{"ITBCC: BD2 from 5 buds", "R6.colorectal.budding", `{"field_mm2":0.785}`, "buds", "grade", [3]string{"4", "5", "6"}, [3]string{`"BD1"`, `"BD2"`, `"BD2"`}},
	{"ITBCC: BD3 from 10 buds", "R6.colorectal.budding", `{"field_mm2":0.785}`, "buds", "grade", [3]string{"9", "10", "11"}, [3]string{`"BD2"`, `"BD3"`, `"BD3"`}},
	{"ITBCC: BD3b from 20 buds", "R6.colorectal.budding", `{"field_mm2":0.785}`, "buds", "half", [3]string{"19", "20", "21"}, [3]string{`"BD3a"`, `"BD3b"`, `"BD3b"`}},
	{"ITBCC: a field of half the size doubles the count", "R6.colorectal.budding", `{"field_mm2":0.3925}`, "buds", "grade", [3]string{"2", "2.5", "5"}, [3]string{`"BD1"`, `"BD2"`, `"BD3"`}},
	{"SMSA: 10 mm", "R6.colorectal.smsa", smsaBase, "size_mm", "points", [3]string{"9.9", "10", "11"}, [3]string{"4", "6", "6"}},
	{"SMSA: 20 mm", "R6.colorectal.smsa", smsaBase, "size_mm", "points", [3]string{"19.9", "20", "21"}, [3]string{"6", "8", "8"}},
	{"SMSA: 30 mm", "R6.colorectal.smsa", smsaBase, "size_mm", "points", [3]string{"29.9", "30", "31"}, [3]string{"8", "10", "10"}},
	{"SMSA: exactly 40 mm is the last step", "R6.colorectal.smsa", smsaBase, "size_mm", "points", [3]string{"39.9", "40", "41"}, [3]string{"10", "12", "12"}},
	{"SMSA: level II from 6", "R6.colorectal.smsa", `{}`, "total_points", "level", [3]string{"5", "6", "7"}, [3]string{`"I"`, `"II"`, `"II"`}},
	{"SMSA: level III from 10", "R6.colorectal.smsa", `{}`, "total_points", "level", [3]string{"9", "10", "11"}, [3]string{`"II"`, `"III"`, `"III"`}},
	{"SMSA: level IV above 12", "R6.colorectal.smsa", `{}`, "total_points", "level", [3]string{"11", "12", "13"}, [3]string{`"III"`, `"III"`, `"IV"`}},

	{"duodenum: cold snare below 6 mm (ESGE 2021)", "R7.duodenum.esge2021", `{"malignant":false,"ampullary":false}`, "size_mm", "technique",
		[3]string{"5.9", "6", "6.1"}, [3]string{`"cold-snare-suggested"`, `"EMR-first-line"`, `"EMR-first-line"`}},
	{"Paris: exactly 2.5 mm is 0-IIa", "R8.morph.paris", `{"organ":"colon","pedicle":false}`, "height_mm", "paris", [3]string{"2.4", "2.5", "2.6"}, [3]string{`"0-IIa"`, `"0-IIa"`, `"0-Is"`}},
	{"Paris: 1.2 mm in squamous oesophagus", "R8.morph.paris", `{"organ":"squamous oesophagus","pedicle":false}`, "height_mm", "paris", [3]string{"1.1", "1.2", "1.3"}, [3]string{`"0-IIa"`, `"0-IIa"`, `"0-Is"`}},
	{"Paris: flat is 0-IIb", "R8.morph.paris", `{"organ":"colon","pedicle":false}`, "height_mm", "paris", [3]string{"0", "0", "0.1"}, [3]string{`"0-IIb"`, `"0-IIb"`, `"0-IIa"`}},

	{"ASGE: no night is no event", "R9.ae.asge2010", `{}`, "unplanned_nights", "severity", [3]string{"0", "0", "1"}, [3]string{`"incident"`, `"incident"`, `"mild"`}},
	{"ASGE: mild up to 3 nights", "R9.ae.asge2010", `{}`, "unplanned_nights", "severity", [3]string{"2", "3", "4"}, [3]string{`"mild"`, `"mild"`, `"moderate"`}},
	{"ASGE: severe above 10 nights", "R9.ae.asge2010", `{}`, "unplanned_nights", "severity", [3]string{"9", "10", "11"}, [3]string{`"moderate"`, `"moderate"`, `"severe"`}},
	{"ASGE: severe above 1 night in intensive care", "R9.ae.asge2010", `{}`, "icu_nights", "severity", [3]string{"0", "1", "2"}, [3]string{`"incident"`, `"moderate"`, `"severe"`}},
	{"AGREE: exactly 24 h is II", "R9.ae.agree2022", `{}`, "admission_h", "grade", [3]string{"23.9", "24", "24.1"}, [3]string{`"I"`, `"II"`, `"II"`}},
	{"AGREE: observation from 3 h", "R9.ae.agree2022", `{}`, "extended_observation_h", "grade", [3]string{"2.9", "3", "3.1"}, [3]string{`"none"`, `"I"`, `"I"`}},
	{"AGREE: one organ, several organs", "R9.ae.agree2022", `{"icu":true}`, "organ_failures", "grade", [3]string{"0", "1", "2"}, [3]string{`"none"`, `"IVa"`, `"IVb"`}},
	{"15 days (GSEED-RE)", "R9.ae.delayed_bleed_window", bleedBase, "day", "def15", [3]string{"14", "15", "16"}, [3]string{"true", "true", "false"}},
	{"28 days (gastric ESD)", "R9.ae.delayed_bleed_window", bleedBase, "day", "def28", [3]string{"27", "28", "29"}, [3]string{"true", "true", "false"}},
	{"30 days (Limoges)", "R9.ae.delayed_bleed_window", bleedBase, "day", "def30", [3]string{"29", "30", "31"}, [3]string{"true", "true", "false"}},
	{"coagulation syndrome: above 37.5 °C (Ito 2018)", "R9.ae.pecs", feverBase, "temp_c", "pecs", [3]string{"37.4", "37.5", "37.6"}, [3]string{"false", "false", "true"}},
	{"coagulation syndrome: CRP above 0.5", "R9.ae.pecs", feverBase, "crp_mg_dl", "pecs", [3]string{"0.4", "0.5", "0.6"}, [3]string{"false", "false", "true"}},
	{"coagulation syndrome: white cells above 10,000", "R9.ae.pecs", feverBase, "wbc", "pecs", [3]string{"9999", "10000", "10001"}, [3]string{"false", "false", "true"}},
	{"coagulation syndrome: more than 6 h after", "R9.ae.pecs", with(feverBase, `{"temp_c":38}`), "hours_after", "pecs", [3]string{"5.9", "6", "6.1"}, [3]string{"false", "false", "true"}},

	{"en bloc is one piece", "R10.metric.definitions", `{"visible_residual":false,"hm":0,"vm":0}`, "pieces", "en_bloc", [3]string{"1", "1", "2"}, [3]string{"true", "true", "false"}},
	{"expert: at least 9 cm²/h (JGH Open 2020)", "R10.metric.expert_triple", `{"complication_pct":5,"en_bloc_pct":90}`, "cm2_per_h", "expert", [3]string{"8.9", "9", "9.1"}, [3]string{"false", "true", "true"}},
	{"expert: complications at most 5%", "R10.metric.expert_triple", `{"cm2_per_h":9,"en_bloc_pct":90}`, "complication_pct", "expert", [3]string{"4.9", "5", "5.1"}, [3]string{"true", "true", "false"}},
	{"expert: en bloc at least 90%", "R10.metric.expert_triple", `{"cm2_per_h":9,"complication_pct":5}`, "en_bloc_pct", "expert", [3]string{"89.9", "90", "90.1"}, [3]string{"false", "true", "true"}},
	{"curriculum: 20 procedures on models (ESGE 2019)", "R10.metric.curriculum_start", `{"en_bloc_in_last10":8,"perforations_in_last10":0}`, "model_procedures", "ready_for_human", [3]string{"19", "20", "21"}, [3]string{"false", "true", "true"}},
	{"curriculum: 8 en bloc in the last 10", "R10.metric.curriculum_start", `{"model_procedures":20,"perforations_in_last10":0}`, "en_bloc_in_last10", "ready_for_human", [3]string{"7", "8", "9"}, [3]string{"false", "true", "true"}},
	{"curriculum: no perforation", "R10.metric.curriculum_start", `{"model_procedures":20,"en_bloc_in_last10":8}`, "perforations_in_last10", "ready_for_human", [3]string{"0", "0", "1"}, [3]string{"true", "true", "false"}},

	{"ESGE: an adenoma from 10 mm", "R11.surveillance.esge2020", `{"adenomas":1,"dysplasia":"low"}`, "max_mm", "interval", [3]string{"9", "10", "11"}, [3]string{`"return-to-screening"`, `"3y"`, `"3y"`}},
	{"ESGE: from 5 adenomas", "R11.surveillance.esge2020", `{"max_mm":5,"dysplasia":"low"}`, "adenomas", "interval", [3]string{"4", "5", "6"}, [3]string{`"return-to-screening"`, `"3y"`, `"3y"`}},
	{"ESGE: piecemeal from 20 mm", "R11.surveillance.esge2020", `{"piecemeal":true}`, "max_mm", "interval", [3]string{"19", "20", "21"}, [3]string{`"3y"`, `"3-6mo-then-12mo"`, `"3-6mo-then-12mo"`}},
	{"US MSTF: exactly 10 adenomas is ambiguous", "R11.surveillance.usmstf2020", `{"max_mm":5}`, "adenomas", "interval", [3]string{"9", "10", "11"}, [3]string{`"3y"`, `"undetermined"`, `"1y"`}},
	{"US MSTF: from 3 adenomas", "R11.surveillance.usmstf2020", `{"max_mm":5}`, "tubular_adenomas", "interval", [3]string{"2", "3", "4"}, [3]string{`"7-10y"`, `"3-5y"`, `"3-5y"`}},
	{"US MSTF: from 5 adenomas", "R11.surveillance.usmstf2020", `{"max_mm":5}`, "adenomas", "interval", [3]string{"4", "5", "6"}, [3]string{`"3-5y"`, `"3y"`, `"3y"`}},
	{"US MSTF: an adenoma from 10 mm", "R11.surveillance.usmstf2020", `{"adenomas":1}`, "max_mm", "interval", [3]string{"9", "10", "11"}, [3]string{`"7-10y"`, `"3y"`, `"3y"`}},
	{"US MSTF: one adenoma, none", "R11.surveillance.usmstf2020", `{"max_mm":5}`, "adenomas", "interval", [3]string{"0", "1", "2"}, [3]string{`"not-by-this-rule"`, `"7-10y"`, `"7-10y"`}},
	{"INR above 3.0: no biopsy (JGES)", "R14.antithrombotic.jges2017", `{"drug":"warfarin","procedure":"biopsy"}`, "inr", "biopsy", [3]string{"3.1", "3.1", "3.2"}, [3]string{`"avoid"`, `"avoid"`, `"avoid"`}},
	{"INR up to 3.0: no interruption (JGES)", "R14.antithrombotic.jges2017", `{"drug":"warfarin","procedure":"ESD"}`, "inr", "interrupt", [3]string{"2.9", "3", "3.0"}, [3]string{"false", "false", "false"}},
}

const (
	smsaBase  = `{"morphology":"pedunculated","site":"left","access":"easy"}`
	bleedBase = `{"clinical_bleed":true,"emergency_endoscopy":true}`
)

// TestEdges puts one figure under, on and over every published limit.
func TestEdges(t *testing.T) {
	t.Parallel()
	for _, e := range edges {
		for i, v := range e.values {
			c := publishedCase{ID: e.name, Rule: e.rule, Expect: map[string]json.RawMessage{e.key: json.RawMessage(e.want[i])}}
			require.NoError(t, json.Unmarshal([]byte(with(e.base, fmt.Sprintf(`{%q:%s}`, e.field, v))), &c.Input))
			require.NoError(t, runCase(c), "%s: %s = %s", e.name, e.field, v)
		}
	}
}
