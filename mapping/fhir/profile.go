package fhir

import (
	"strings"

	"enbloc/mapping/fhir/model"
	"enbloc/mapping/term"
)

// profileBase is where the addresses of our profiles begin. The profiles
// themselves are package schemas/fhir.
const profileBase = term.Base + "/StructureDefinition/enbloc-"

// profiles says which profile the resource of a role claims. "*" stands for a
// step of the role that is a number or a hash; what has no entry of its own
// falls back to the one that ends in "/". Types for which there is no profile
// (images, drugs, devices, provenance, plans) claim none.
var profiles = map[string]string{
	roleSession:         "endoscopy-session",
	roleBefore:          "pre-procedure-panel",
	roleBefore + "/":    "fact",
	roleEndoscopyReport: "endoscopy-report",
	rolePathologyReport: "pathology-summary",

	"lesion/*/site":             "lesion",
	"lesion/*/condition":        "lesion-condition",
	"lesion/*/specimen":         "specimen",
	"lesion/*/specimen/":        "specimen",
	"lesion/*/resection":        "resection",
	"lesion/*/haemostasis/":     "resection-measure",
	"lesion/*/base-coagulation": "resection-measure",
	"lesion/*/closure":          "resection-measure",

	"lesion/*/examination":                       "lesion-panel",
	"lesion/*/examination/":                      "endoscopic-finding",
	"lesion/*/examination/lesion-location":       "lesion-location",
	"lesion/*/examination/lesion-size-long":      "lesion-size",
	"lesion/*/examination/paris-type":            "paris-type",
	"lesion/*/examination/lst-subtype":           "lst-subtype",
	"lesion/*/examination/nice-class":            "nice-class",
	"lesion/*/examination/jnet-class":            "jnet-class",
	"lesion/*/examination/kudo-pattern":          "kudo-pattern",
	"lesion/*/examination/endoscopic-ulceration": "endoscopic-ulceration",
	"lesion/*/examination/non-lifting-sign":      "non-lifting-sign",
	"lesion/*/examination/predicted-depth":       "predicted-depth",

	"lesion/*/resection-facts":                        "resection-panel",
	"lesion/*/resection-facts/":                       "resection-fact",
	"lesion/*/resection-facts/resection-step/*":       "resection-step",
	"lesion/*/resection-facts/generator-setting/*":    "generator-setting",
	"lesion/*/resection-facts/submucosal-injection/*": "submucosal-injection",
	"lesion/*/resection-facts/piece-count":            "piece-count",
	"lesion/*/resection-facts/muscle-injury-type":     "muscle-injury",
	"lesion/*/resection-facts/defect-closure":         "defect-closure",

	"lesion/*/histology":                                "histology-panel",
	"lesion/*/histology/":                               "histology-fact",
	"lesion/*/histology/histological-type":              "histological-type",
	"lesion/*/histology/pt-category":                    "pt-category",
	"lesion/*/histology/sm-depth":                       "submucosal-depth",
	"lesion/*/histology/horizontal-margin-status":       "horizontal-margin",
	"lesion/*/histology/vertical-margin-status":         "vertical-margin",
	"lesion/*/histology/lymphatic-invasion-status":      "lymphatic-invasion",
	"lesion/*/histology/venous-invasion-status":         "venous-invasion",
	"lesion/*/histology/lymphovascular-invasion-status": "lymphovascular-invasion",
	"lesion/*/histology/tumour-budding":                 "tumour-budding",
	"lesion/*/histology/budding-count":                  "budding-count",
	"lesion/*/histology/histological-ulceration":        "histological-ulceration",
	"lesion/*/histology/tumour-size-long":               "histological-size",

	"event/*/adverse-event": "adverse-event",
	"event/*/facts":         "event-facts",
	"event/*/condition":     "event-condition",
	"event/*/intervention/": "event-intervention",
}

// derivedProfiles are the profiles of results, by the slug of their rule; all
// others are plain derived results.
var derivedProfiles = map[string]string{
	"r2-gastric-curability-ecura": "ecura-result", "r2-gastric-curability-esge2022": "curability",
	"r5-oeso-eac-curability": "curability", "r5-oeso-eac-curability-esge2022": "curability",
	"r5-oeso-scc-curability-esge2022": "curability", "r5-oeso-scc-curability-jes": "curability",
	"r6-colorectal-t1-esge2022": "curability", "r6-colorectal-t1-jsccr": "curability",
	"r10-metric-curative-esge2022": "curability", "r10-metric-curative-jes": "curability",
	"r10-metric-curative-jges2020": "curability",
	"r10-metric-en-bloc":           "en-bloc", "r10-metric-r0": "r0",
}

// profileOf is the short name of the profile of a role, "" for none.
func profileOf(role string) string {
	if _, rule, ok := strings.Cut(role, "/derived/"); ok {
		rule, _, _ = strings.Cut(rule, "/")
		if name, ok := derivedProfiles[rule]; ok {
			return name
		}
		return "derived-result"
	}
	steps := strings.Split(role, "/")
	for i := range steps {
		numbered := steps[i] != "" && steps[i][0] >= '0' && steps[i][0] <= '9'
		if numbered || i == 1 && steps[0] == "event" {
			steps[i] = "*"
		}
	}
	if name, ok := profiles[strings.Join(steps, "/")]; ok {
		return name
	}
	for n := len(steps) - 1; n > 0; n-- {
		if name, ok := profiles[strings.Join(steps[:n], "/")+"/"]; ok {
			return name
		}
	}
	return ""
}

// claim is the address of the profile that the resource of a role claims, nil
// for none, or where the site sends no claims.
func (m *mapper) claim(role string) []string {
	name := profileOf(role)
	if name == "" || m.opt.NoProfiles {
		return nil
	}
	return []string{profileBase + name}
}

// metaFor is what most resources of the case carry, with the claim of a role.
func (m *mapper) metaFor(role string) *model.Meta {
	meta := *m.meta
	meta.Profile = m.claim(role)
	return &meta
}
