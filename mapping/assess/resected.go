package assess

import "enbloc/mapping/report"

// This file reads how the lesion came out.

// resection is the lesion's resection; an empty one when it was left in place.
func (k *look) resection() *report.Resection {
	if k.lesion.Resection == nil {
		return &report.Resection{}
	}
	return k.lesion.Resection
}

// oneBloc is what makes a resection en bloc.
type oneBloc struct{ pieces, residual *finding }

// oneBloc reads the number of pieces and what was left in place. A resection
// called complete left nothing that could be seen.
func (k *look) oneBloc() oneBloc {
	r := k.resection()
	b := oneBloc{
		pieces: k.number("/resection/pieces", "number of pieces", "", r.Pieces),
		residual: k.sign("/resection/visible_residual", "visible residual lesion", truthOfAnswer(r.VisibleResidual),
			why(report.AbsenceOf(r.VisibleResidual)), "left in place", "none left"),
	}
	if b.residual.known() {
		return b
	}
	switch r.Completion {
	case report.CompletionComplete:
		b.residual.path, b.residual.sign = "/resection/completion", no
	case report.CompletionPartial, report.CompletionAbandoned:
		b.residual.path, b.residual.sign = "/resection/completion", yes
	}
	return b
}

// whole is the fact that the lesion came out in one piece with nothing seen
// left (Park, Korean J Gastroenterol 2020;75:264, Table 1).
func (b oneBloc) whole() fact { return all(b.pieces.atMost(1), b.residual.no()) }

// sorted parts findings into those that are known and those that are not.
func sorted(findings ...*finding) (seen, open set) {
	for _, f := range findings {
		if f.known() {
			seen |= f.bit
		} else {
			open |= f.bit
		}
	}
	return seen, open
}

// clear is the fact that both margins are free of tumour.
func clear(hm, vm *finding) fact { return all(hm.no(), vm.no()) }
