package check

import (
	"fmt"
	"slices"
	"time"

	"enbloc/mapping/report"
)

func sessionEndBeforeStart(r *report.Report, say say) {
	if earlier(r.Session.End, r.Session.Start) {
		say("/session/end", "The session ends before it starts.", "Check start and end: date, time and zone.")
	}
}

// longSession is longer than nearly any session with a resection.
const longSession = 12 * time.Hour

func sessionVeryLong(r *report.Report, say say) {
	if d, ok := span(r.Session.Start, r.Session.End); ok && d > longSession {
		say("/session/end", fmt.Sprintf("The session took %d hours.", int(d.Hours())), "Check start and end: date, time and zone.")
	}
}

// reach lists the organs that each kind of endoscopy gets to. An enteroscope
// may be passed from either end.
var reach = map[report.SessionKind][]report.Organ{
	report.UpperEndoscopy: {report.Oesophagus, report.Stomach, report.Duodenum},
	report.Colonoscopy:    {report.Colon, report.Rectum},
	report.Sigmoidoscopy:  {report.Colon, report.Rectum},
}

// beyondSigmoidoscope lists the sites that a sigmoidoscopy does not get to.
var beyondSigmoidoscope = []report.Site{
	report.SiteTerminalIleum, report.SiteCaecum, report.SiteIleocaecal, report.SiteAscending,
	report.SiteHepaticFlexure, report.SiteTransverse,
}

func outOfReach(l *report.Lesion, r *report.Report, say say) {
	organs, limited := reach[r.Session.Kind]
	e := &l.Examination
	switch {
	case limited && !slices.Contains(organs, e.Organ):
		say("/examination/organ", fmt.Sprintf("A lesion of the %s is not within reach of this kind of session (%s).", e.Organ, r.Session.Kind), "Check the organ and the kind of endoscopy.")
	case r.Session.Kind == report.Sigmoidoscopy && slices.Contains(beyondSigmoidoscope, e.Site):
		say("/examination/site", fmt.Sprintf("The site %s is not within reach of a sigmoidoscopy.", e.Site), "Check the site and the kind of endoscopy.")
	}
}

func airInsufflation(r *report.Report, say say) {
	dissects := func(l *report.Lesion) bool { return resectionOf(l).Technique.Dissects() }
	if r.Session.Gas == report.GasAir && anyLesion(r, dissects) {
		say("/session/gas", "Air is recorded for a submucosal dissection, where carbon dioxide is usual.", "Check the gas.")
	}
}
