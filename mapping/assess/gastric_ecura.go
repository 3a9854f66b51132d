package assess

import "math"

// below500 is the greatest depth that SM1 stands for in the Japanese stomach
// rules: strictly less than 500 µm.
var below500 = math.Nextafter(500, 0)

// gastricSpecimenFacts are the inputs of gastric curability.
type gastricSpecimenFacts struct {
	diff, size, ulcer, depth, hm, vm, part, partInSM *finding
	bloc                                             oneBloc
	vessels                                          invasion
}

func gatherGastric(sm1 float64) func(k *look) gastricSpecimenFacts {
	return func(k *look) gastricSpecimenFacts {
		f := gastricSpecimenFacts{
			diff: k.differentiated(), depth: k.depth(sm1), size: k.tumourSize(), ulcer: k.ulcerated(),
			bloc: k.oneBloc(), hm: k.horizontalMargin(), vm: k.verticalMargin(), vessels: k.invasion(),
		}
		f.part, f.partInSM = k.part()
		return f
	}
}

// incomplete is a lateral failure: horizontal margin positive, or not en bloc.
func (f gastricSpecimenFacts) incomplete() fact { return anyOf(f.hm.yes(), not(f.bloc.whole())) }

// submucosal is invasion below the muscularis mucosae, however shallow.
func (f gastricSpecimenFacts) submucosal() fact { return f.depth.above(0) }

const (
	notInGrid    = "outside the size and ulcer limits of eCura A and B"
	checkSpecial = "Check: the figure ties the 20 mm limit of the undifferentiated part to eCura A without ulcer; applying it here follows a transcription and the safer reading, not the guideline's own text."
)

// ruleECura: JGES guideline, 2nd edition, and JGCA guidelines, 6th edition. Rows
// are in the order of evaluation: what makes C-2 of a lesion first, then a
// purely lateral failure, then A and B. SM1 is strictly below 500 µm, sizes
// are up to and including the limit.
var ruleECura = ofCancer(listed(rule{
	id: "R2.gastric.curability.ecura", title: "Curability of the gastric resection (eCura)",
	from: jges2020, confirmed: SecondHand, scope: ScopeLesion, applies: gastricSpecimen, notes: (*look).depthNote,
	cautions: []string{
		"Depth counts from the lower edge of the muscularis mucosae; HMX, VMX and LyX are unknown, not negative.",
		"ESGE draws the submucosal limit at 500 µm inclusive: at exactly 500 µm the two guidelines differ.",
	},
}, "ecura", gatherGastric(below500), eCuraRows))

var eCuraRows = []row[gastricSpecimenFacts]{
	{when: "VM1", then: "C-2", is: func(f gastricSpecimenFacts) fact { return f.vm.yes() },
		reason: "The vertical margin is positive: eCura C-2"},
	{when: "Ly1 or V1", then: "C-2", is: func(f gastricSpecimenFacts) fact { return f.vessels.present() },
		reason: "Vessels are invaded: eCura C-2"},
	{when: "submucosal invasion of 500 µm or more, or deeper", then: "C-2",
		is:     func(f gastricSpecimenFacts) fact { return f.depth.atLeast(500) },
		reason: "The invasion reaches 500 µm or more: eCura C-2"},
	{when: "undifferentiated, pT1b", then: "C-2",
		is:     func(f gastricSpecimenFacts) fact { return all(f.diff.no(), f.submucosal()) },
		reason: "Undifferentiated type in the submucosa is " + notInGrid + ": eCura C-2"},
	{when: "undifferentiated, UL1", then: "C-2",
		is:     func(f gastricSpecimenFacts) fact { return all(f.diff.no(), f.ulcer.yes()) },
		reason: "Undifferentiated type with an ulcer is " + notInGrid + ": eCura C-2"},
	{when: "undifferentiated, above 20 mm", then: "C-2",
		is:     func(f gastricSpecimenFacts) fact { return all(f.diff.no(), f.size.above(20)) },
		reason: "Undifferentiated type above 20 mm is " + notInGrid + ": eCura C-2"},
	{when: "differentiated, pT1b, above 30 mm", then: "C-2",
		is:     func(f gastricSpecimenFacts) fact { return all(f.diff.yes(), f.submucosal(), f.size.above(30)) },
		reason: "Submucosal cancer above 30 mm is " + notInGrid + ": eCura C-2"},
	{when: "differentiated, pT1a, UL1, above 30 mm", then: "C-2",
		is:     func(f gastricSpecimenFacts) fact { return all(f.diff.yes(), f.ulcer.yes(), f.size.above(30)) },
		reason: "Cancer with an ulcer above 30 mm is " + notInGrid + ": eCura C-2"},
	{when: "differentiated, pT1b, undifferentiated part in the submucosa", then: "C-2", confirmed: Transcription,
		is:     func(f gastricSpecimenFacts) fact { return all(f.diff.yes(), f.submucosal(), f.partInSM.yes()) },
		reason: "An undifferentiated part lies in the submucosal invasion: eCura C-2 instead of B"},
	{when: "differentiated, pT1a, UL0, undifferentiated part above 20 mm", then: "C-2", confirmed: Transcription,
		is: func(f gastricSpecimenFacts) fact {
			return all(f.diff.yes(), f.depth.atMost(0), f.ulcer.no(), f.part.above(20))
		},
		reason: "The undifferentiated part is above 20 mm: eCura C-2 instead of A"},
	{when: "differentiated, pT1b or UL1, undifferentiated part above 20 mm (check)", then: "C-2", confirmed: Transcription,
		is:     func(f gastricSpecimenFacts) fact { return all(f.diff.yes(), f.part.above(20)) },
		reason: "The undifferentiated part is above 20 mm: eCura C-2", caution: checkSpecial},
	{when: "undifferentiated, HM1 or piecemeal", then: "C-2",
		is:     func(f gastricSpecimenFacts) fact { return all(f.diff.no(), f.incomplete()) },
		reason: "Undifferentiated type, not cut out whole with a clear horizontal margin: C-1 is for differentiated type only, so eCura C-2"},
	{when: "differentiated, HM1 or piecemeal the only failure", then: "C-1",
		is:     func(f gastricSpecimenFacts) fact { return f.incomplete() },
		reason: "The horizontal margin or the piecemeal removal is all that fails in a differentiated cancer: eCura C-1"},
	{when: "undifferentiated, pT1a, UL0, up to 20 mm", then: "A", values: map[string]any{"subclass": "A(ii)"},
		is:     func(f gastricSpecimenFacts) fact { return f.diff.no() },
		reason: "Undifferentiated cancer within the mucosa, without ulcer, up to 20 mm, en bloc with clear margins and no vessel invasion: eCura A"},
	{when: "differentiated, pT1b below 500 µm, up to 30 mm", then: "B", values: map[string]any{"subclass": "B"},
		is:     func(f gastricSpecimenFacts) fact { return f.submucosal() },
		reason: "Differentiated cancer less than 500 µm into the submucosa, up to 30 mm, en bloc with clear margins and no vessel invasion: eCura B"},
	{when: "differentiated, pT1a, UL1, up to 30 mm", then: "A", values: map[string]any{"subclass": "A(iii)"},
		is:     func(f gastricSpecimenFacts) fact { return f.ulcer.yes() },
		reason: "Differentiated cancer within the mucosa with an ulcer, up to 30 mm, en bloc with clear margins and no vessel invasion: eCura A"},
	{when: "differentiated, pT1a, UL0, any size", then: "A", values: map[string]any{"subclass": "A(i)"},
		is:     func(gastricSpecimenFacts) fact { return always() },
		reason: "Differentiated cancer within the mucosa without ulcer, en bloc with clear margins and no vessel invasion: eCura A"},
}
