package assess

import "enbloc/mapping/report"

// right is whether the lesion lies in the right (proximal) colon, up to the
// splenic flexure. The scores name sides without drawing the line; this one is
// common practice.
func (k *look) right() *finding {
	e := k.examination()
	f := k.sign("/examination/site", "side of the colon", unknown, why(report.AbsenceOf(e.Site)), "right-sided", "left-sided")
	switch e.Site {
	case report.SiteCaecum, report.SiteIleocaecal, report.SiteAscending, report.SiteHepaticFlexure, report.SiteTransverse:
		f.sign = yes
	case report.SiteSplenicFlexure, report.SiteDescending, report.SiteSigmoid, report.SiteRectosigmoid,
		report.SiteUpperRectum, report.SiteLowerRectum, report.SiteDentateLine:
		f.sign = no
	default:
		if e.Organ == report.Rectum {
			f.path, f.sign = "/examination/organ", no
		}
	}
	return f
}

const sideCaution = "The line between right and left is drawn at the splenic flexure: common practice, the source names only the sides."

// rectum is whether the lesion lies in the rectum.
func (k *look) rectum() *finding {
	return k.sign("/examination/organ", "organ", truthOf(k.examination().Organ == report.Rectum), "", "rectum", "colon")
}
