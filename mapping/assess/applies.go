package assess

import (
	"slices"

	"enbloc/mapping/report"
)

// This file says which rules concern which lesion.

// handled reports whether the lesion was resected or has a histology.
func handled(k *look) bool { return k.lesion.Resection != nil || k.lesion.Histology != nil }

func inStomach(k *look) bool    { return k.lesion.Examination.Organ == report.Stomach }
func inColorectum(k *look) bool { return k.lesion.Examination.Organ.Colorectal() }
func inOesophagus(k *look) bool { return k.lesion.Examination.Organ == report.Oesophagus }

func gastricSpecimen(k *look) bool    { return inStomach(k) && handled(k) }
func colorectalSpecimen(k *look) bool { return inColorectum(k) && handled(k) }
func squamousSpecimen(k *look) bool   { return squamous(k) && handled(k) }
func barrettSpecimen(k *look) bool    { return glandular(k) && handled(k) }

var squamousTypes = []report.HistologyType{report.TypeSCC, report.TypeSquamousIEN}

// squamous reports whether the lesion arises from squamous oesophagus: by its
// histology, else by what it looked like.
func squamous(k *look) bool {
	if !inOesophagus(k) {
		return false
	}
	if types := oesophagealTypes(k); len(types) > 0 {
		return slices.Contains(squamousTypes, types[0])
	}
	return k.lesion.Examination.Mucosa == report.Squamous
}

// glandular reports whether the lesion is a Barrett's neoplasia or another
// adenocarcinoma of the oesophagus.
func glandular(k *look) bool {
	if !inOesophagus(k) {
		return false
	}
	if types := oesophagealTypes(k); len(types) > 0 {
		return !slices.Contains(squamousTypes, types[0])
	}
	m := k.lesion.Examination.Mucosa
	return m == report.Barrett || m == report.Columnar
}

func oesophagealTypes(k *look) []report.HistologyType {
	e := k.lesion.Examination
	switch {
	case len(k.histology().Types) > 0:
		return k.histology().Types
	case len(e.BiopsyTypes) > 0:
		return e.BiopsyTypes
	case e.PredictedHistology != "" && report.Known(e.PredictedHistology):
		return []report.HistologyType{e.PredictedHistology}
	}
	return nil
}

// afterHistology makes a rule wait for the histology with one clear answer.
func afterHistology(r *rule) *rule {
	ask := r.ask
	r.ask = func(r *rule, k *look) Result {
		if k.lesion.Histology == nil {
			f := k.sign("/histology", "histology", unknown, "not reported", "", "")
			return r.undecided(k, 0, f.bit, "")
		}
		return ask(r, k)
	}
	return r
}

// ofCancer keeps a rule about cancer away from lesions that are none.
func ofCancer(r *rule) *rule {
	ask := r.ask
	r.ask = func(r *rule, k *look) Result {
		at := k.natureAt()
		switch k.nature() {
		case premalignant:
			return r.unconcerned(k, "The histology names no cancer, and the rule grades cancer.", at)
		case neuroendocrine:
			return r.unconcerned(k, "The rule does not concern neuroendocrine neoplasms.", at)
		case noNeoplasia:
			return r.unconcerned(k, "The histology names no neoplasia.", at)
		}
		return ask(r, k)
	}
	return afterHistology(r)
}

// ofNeoplasia is ofCancer for rules that take in dysplasia and adenoma.
func ofNeoplasia(r *rule) *rule {
	ask := r.ask
	r.ask = func(r *rule, k *look) Result {
		at := k.natureAt()
		switch k.nature() {
		case neuroendocrine:
			return r.unconcerned(k, "The rule does not concern neuroendocrine neoplasms.", at)
		case noNeoplasia:
			return r.unconcerned(k, "The histology names no neoplasia.", at)
		}
		return ask(r, k)
	}
	return afterHistology(r)
}

// natureAt is the pointer to what says what kind of lesion it is.
func (k *look) natureAt() string {
	if len(k.histology().Types) == 0 {
		return k.base + "/histology/pt"
	}
	return k.base + "/histology/types"
}
