package assess

import (
	"strconv"

	"enbloc/mapping/report"
)

type smsaFacts struct{ size, sessile, flat, right, difficult *finding }

func gatherSMSA(k *look) smsaFacts {
	e := k.examination()
	f := smsaFacts{size: k.clinicalSize(), right: k.right()}
	shape := func(is truth) *finding {
		return k.sign("/examination/paris", "morphology", is, "not reported", "yes", "no")
	}
	sessile, flat := unknown, unknown
	if len(e.Paris) > 0 {
		switch e.Paris[0] {
		case report.Paris0Ip:
			sessile, flat = no, no
		case report.Paris0Is:
			sessile, flat = yes, no
		case report.Paris0IIa, report.Paris0IIb, report.Paris0IIc:
			sessile, flat = no, yes
		}
	}
	f.sessile, f.flat = shape(sessile), shape(flat)
	if len(e.Paris) > 0 && !f.flat.known() {
		f.flat.why = "neither pedunculated, sessile nor flat in the table"
		f.sessile.why = f.flat.why
	}
	access := unknown
	if report.Known(e.Access) {
		access = truthOf(e.Access == report.AccessDifficult)
	}
	f.difficult = k.sign("/examination/access", "access", access, why(report.AbsenceOf(e.Access)), "difficult", "easy")
	return f
}

var smsaLevels = []band{
	{upTo: 5, group: "I", reason: "SMSA level I."},
	{upTo: 9, group: "II", reason: "SMSA level II."},
	{upTo: 12, group: "III", reason: "SMSA level III."},
	{upTo: 17, group: "IV", reason: "SMSA level IV."},
}

// SMSA: Gupta, Frontline Gastroenterol 2013;4:244. Every item has a least
// value, 4 together; each line below adds to it. The table prints 3.0 to 3.9
// and above 4 cm: exactly 40 mm is taken as 9.
var ruleSMSA = smsaPrinted(scored(rule{
	id: "R6.colorectal.smsa", title: "Difficulty of the polyp (SMSA)", from: smsaSource, confirmed: SecondHand, scope: ScopeLesion,
	applies:  func(k *look) bool { return inColorectum(k) && k.examination().SizeLongMm.Reported() },
	cautions: []string{"Levels were read in the publication, single values second-hand.", sideCaution},
}, "level", gatherSMSA, []item[smsaFacts]{
	{points: 4, what: "least values of size, morphology, site and access", is: func(smsaFacts) fact { return always() }},
	{points: 2, what: "size 10 mm or more", is: func(f smsaFacts) fact { return f.size.atLeast(10) }},
	{points: 2, what: "size 20 mm or more", is: func(f smsaFacts) fact { return f.size.atLeast(20) }},
	{points: 2, what: "size 30 mm or more", is: func(f smsaFacts) fact { return f.size.atLeast(30) }},
	{points: 2, what: "size 40 mm or more", is: func(f smsaFacts) fact { return f.size.atLeast(40) }},
	{points: 1, what: "sessile", is: func(f smsaFacts) fact { return f.sessile.yes() }},
	{points: 2, what: "flat", is: func(f smsaFacts) fact { return f.flat.yes() }},
	{points: 1, what: "right-sided", is: func(f smsaFacts) fact { return f.right.yes() }},
	{points: 2, what: "access difficult", is: func(f smsaFacts) fact { return f.difficult.yes() }},
}, smsaLevels))

// smsaPrinted gives the book the table as the publication prints it.
func smsaPrinted(r *rule) *rule {
	r.table = []Row{
		{"below 10, 10-19, 20-29, 30-39, 40 mm or more", "1, 3, 5, 7, 9", SecondHand},
		{"pedunculated, sessile, flat", "1, 2, 3", SecondHand},
		{"left, right", "1, 2", SecondHand},
		{"access easy, difficult", "1, 3", SecondHand},
		{"4 to 5 points", "level I", Primary},
		{"6 to 9 points", "level II", Primary},
		{"10 to 12 points", "level III", Primary},
		{"above 12 points", "level IV", Primary},
	}
	ask := r.ask
	r.ask = func(r *rule, k *look) Result {
		out := ask(r, k)
		if level, ok := out.Values["level"].(string); ok {
			k.reset()
			out.Reason = count(int(out.Values["points"].(float64))) + " (" + smsaItems(gatherSMSA(k)) + "). SMSA level " + level + "."
		}
		return out
	}
	return r
}

// smsaItems says what each item counts, as the publication prints it.
func smsaItems(f smsaFacts) string {
	size := 1
	for _, limit := range []float64{10, 20, 30, 40} {
		if f.size.lo >= limit {
			size += 2
		}
	}
	shape, side, access := "pedunculated: 1", "left-sided: 1", "access not difficult: 1"
	switch {
	case f.sessile.sign == yes:
		shape = "sessile: 2"
	case f.flat.sign == yes:
		shape = "flat: 3"
	}
	if f.right.sign == yes {
		side = "right-sided: 2"
	}
	if f.difficult.sign == yes {
		access = "access difficult: 3"
	}
	return "size " + plain(f.size.lo) + " mm: " + strconv.Itoa(size) + ", " + shape + ", " + side + ", " + access
}

// lstFrom is the size in mm from which a lesion is called laterally spreading
// (Bogie, Endoscopy 2018); a smaller one has no bulky part in one.
const lstFrom = 10

// deepByOptics warns where an optical class speaks for deep invasion, for
// which the ground for ESD, limited invasion, does not hold.
func deepByOptics(k *look) string {
	e := k.examination()
	var deep []string
	if e.NICE == report.NICE3 {
		deep = append(deep, "NICE 3")
	}
	if e.JNET == report.JNET3 {
		deep = append(deep, "JNET 3")
	}
	if oneOf(report.KudoVN, e.Kudo...) {
		deep = append(deep, "type VN pits")
	}
	if len(deep) == 0 {
		return ""
	}
	return "The optical reading (" + enumerated(deep) + ") speaks for deep submucosal invasion, for which the tables name surgery: the ground for ESD here is limited invasion only."
}

type bulk struct{ depressed, bulky *finding }

// ESGE 2022: ESD may be considered in the colorectum where limited submucosal
// invasion is suspected.
var ruleColorectalESD = listed(rule{
	id: "R6.colorectal.technique.esge2022", title: "ESD in the colorectum (ESGE)", from: esge2022, confirmed: Primary, scope: ScopeLesion,
	applies: func(k *look) bool {
		return inColorectum(k) && (len(k.examination().Paris) > 0 || k.examination().LST != "")
	},
	notes:    deepByOptics,
	cautions: []string{"The guideline asks for a depressed, demarcated and irregular area or a large bulky part, above all beyond 20 mm; Paris type and subtype stand in for the look of it."},
}, "technique", func(k *look) bulk {
	e := k.examination()
	b := bulk{
		depressed: k.sign("/examination/paris", "depressed part", unknown, "not reported", "present", "absent"),
		bulky:     k.sign("/examination/lst", "bulky part", unknown, why(report.AbsenceOf(e.LST)), "present", "absent"),
	}
	if len(e.Paris) > 0 {
		b.depressed.sign = truthOf(oneOf(report.Paris0IIc, e.Paris...))
	}
	if report.Known(e.LST) {
		b.bulky.sign = truthOf(e.LST == report.LSTGranularMixed)
		if e.LST == report.LSTPseudodepressed {
			b.depressed.path, b.depressed.sign = "/examination/lst", yes
		}
	}
	if size := k.clinicalSize(); !b.bulky.known() && size.below(lstFrom).is == yes {
		b.bulky.path, b.bulky.sign = "/examination/size_long_mm", no
	}
	return b
}, []row[bulk]{
	{when: "depressed part", then: "ESD-may-be-considered", is: func(b bulk) fact { return b.depressed.yes() },
		reason: "A depressed part raises the suspicion of limited submucosal invasion"},
	{when: "large nodule in a laterally spreading tumour", then: "ESD-may-be-considered", is: func(b bulk) fact { return b.bulky.yes() },
		reason: "A bulky part raises the suspicion of limited submucosal invasion"},
	{when: "otherwise", then: "not-named", is: func(bulk) fact { return always() }, reason: "None of the grounds that the guideline names for ESD is reported"},
})
