package assess

import (
	"slices"
	"strconv"

	"enbloc/mapping/report"
)

// This file reads the patient and the antithrombotic drugs.

// before is what was known before the session; an empty one when nothing was.
func (k *look) before() *report.Before {
	if k.rep.Before == nil {
		return &report.Before{}
	}
	return k.rep.Before
}

func (k *look) age() *finding {
	return k.session("/patient/age_y", "age", "years", k.rep.Patient.AgeY)
}

// asa is the ASA class as a figure.
func (k *look) asa() *finding {
	class := k.before().ASAClass
	n, err := report.NewNumber(string(class))
	if err != nil {
		n = report.Absent(report.AbsenceOf(class))
	}
	return k.session("/before/asa_class", "ASA class", "", n)
}

// haemodialysis is chronic kidney disease on maintenance haemodialysis.
func (k *look) haemodialysis() *finding {
	a := k.before().Haemodialysis
	return k.add(finding{path: "/before/haemodialysis", name: "haemodialysis", isSign: true,
		sign: truthOfAnswer(a), why: why(report.AbsenceOf(a)), ifYes: "on haemodialysis", ifNo: "not on haemodialysis"})
}

// drug is one class of antithrombotic: whether it was being taken, and whether
// it was stopped for the resection.
type drug struct{ taken, interrupted *finding }

// drug looks a class up in the list of antithrombotics. A class that is not
// listed is not taken only when the list is called complete, or empty because
// none is taken; otherwise it is unknown.
func (k *look) drug(class report.DrugClass, name string) drug {
	for i, a := range k.before().Antithrombotics {
		if a.Class != class || k.swappedIn(class) {
			continue
		}
		base := "/before/antithrombotics/" + strconv.Itoa(i)
		return drug{
			taken:       k.add(finding{path: base + "/class", name: name, isSign: true, sign: yes}),
			interrupted: k.interruption(base, name, a),
		}
	}
	is, reason := k.unlisted()
	f := k.add(finding{path: "/before/antithrombotic_history", lack: "/before/antithrombotics", name: name, isSign: true,
		sign: is, why: reason, ifYes: "taken and continued", ifNo: "not taken"})
	// Tried as taken, such a drug is tried as taken and continued.
	return drug{taken: f, interrupted: k.add(finding{path: f.path, name: name, isSign: true, sign: no})}
}

// unlisted is what the history says of a drug that is not in the list.
func (k *look) unlisted() (truth, string) {
	switch h := k.before().AntithromboticHistory; h {
	case report.HistoryComplete, report.HistoryNoneTaken:
		return no, ""
	case report.HistoryIncomplete:
		return unknown, "not in a list that is called incomplete"
	default:
		return unknown, why(report.AbsenceOf(h))
	}
}

// swappedIn reports whether the class only stands in for another drug: such a
// drug counts as none (authors' own scoring notes to Hatta, Gut 2021;70:476).
func (k *look) swappedIn(class report.DrugClass) bool {
	return slices.ContainsFunc(k.before().Antithrombotics, func(a report.Antithrombotic) bool {
		return a.Management == report.Replaced && a.ReplacedBy == class && a.Class != class
	})
}

// interruption is whether a drug was stopped. One that was swapped or bridged
// was stopped (same notes).
func (k *look) interruption(base, name string, a report.Antithrombotic) *finding {
	f := finding{path: base + "/management", name: "management of " + name, isSign: true,
		why: why(report.AbsenceOf(a.Management)), ifYes: "interrupted", ifNo: "continued"}
	switch {
	case a.Management == report.Interrupted, a.Management == report.Replaced:
		f.sign = yes
	case a.Bridging == report.BridgingHeparin, a.Bridging == report.BridgingLMWH:
		f.path, f.sign = base+"/bridging", yes
	case a.Management == report.Continued:
		f.sign = no
	}
	return k.add(f)
}

// anyDrug is whether a drug of one of the classes is taken.
func (k *look) anyDrug(name string, classes ...report.DrugClass) *finding {
	for i, a := range k.before().Antithrombotics {
		if slices.Contains(classes, a.Class) {
			return k.add(finding{path: "/before/antithrombotics/" + strconv.Itoa(i) + "/class", name: name, isSign: true, sign: yes})
		}
	}
	is, reason := k.unlisted()
	return k.add(finding{path: "/before/antithrombotic_history", lack: "/before/antithrombotics", name: name, isSign: true,
		sign: is, why: reason, ifYes: "taken", ifNo: "not taken"})
}

var (
	antiplatelets  = []report.DrugClass{report.Aspirin, report.P2Y12, report.Cilostazol, report.OtherAntiplatelet}
	anticoagulants = []report.DrugClass{report.Warfarin, report.DOAC, report.Heparin, report.LMWHeparin, report.OtherAnticoagulant}
)
