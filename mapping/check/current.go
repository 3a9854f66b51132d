package check

import (
	"slices"

	"enbloc/mapping/report"
)

// Usual limits of power in a dissecting coagulation output at effect 3: an
// insulated-tip knife, whose contact surface is larger, near 90 W, a
// needle-type knife near 45 W (common practice, no source). A setting is
// unusual for its knife when it lies nearer to the other knife's. Nothing here
// recommends a setting.
const (
	usualNeedleW       = 45
	usualInsulatedTipW = 90
	betweenW           = (usualNeedleW + usualInsulatedTipW) / 2.0
	usualEffect        = 3
)

// dissecting reports whether the habit above speaks of this setting. An effect
// that was not recorded is taken as the usual one; another effect is not
// comparable.
func dissecting(s report.Setting) bool {
	effect, known := s.Effect.Value()
	return s.Output == report.OutputDissectingCoag && (!known || effect == usualEffect)
}

const noRecommendation = " This compares with habit and recommends no setting."

func wattsHighForNeedle(l *report.Lesion, _ *report.Report, say say) {
	for i, s := range resectionOf(l).Settings {
		if dissecting(s) && s.Instrument.NeedleType() && above(s.MaxW, betweenW) {
			say(at("/resection/settings", i)+"/max_w", "A limit of "+figures("W", s.MaxW)+" is unusual for a needle-type knife in a dissecting coagulation output; it is nearer to that of an insulated-tip knife."+noRecommendation,
				"Check the instrument and the watts as entered.")
		}
	}
}

func wattsLowForInsulatedTip(l *report.Lesion, _ *report.Report, say say) {
	for i, s := range resectionOf(l).Settings {
		if dissecting(s) && s.Instrument == report.KnifeInsulatedTip && below(s.MaxW, betweenW) {
			say(at("/resection/settings", i)+"/max_w", "A limit of "+figures("W", s.MaxW)+" is unusual for an insulated-tip knife in a dissecting coagulation output; it is nearer to that of a needle-type knife."+noRecommendation,
				"Check the instrument and the watts as entered.")
		}
	}
}

// settingOfUnlistedKnife looks at knives alone: many lists of knives leave
// out forceps and snare.
func settingOfUnlistedKnife(l *report.Lesion, _ *report.Report, say say) {
	rs := resectionOf(l)
	for i, s := range rs.Settings {
		if slices.Contains(knives, s.Instrument) && len(rs.Knives) > 0 && !slices.Contains(rs.Knives, s.Instrument) {
			say(at("/resection/settings", i)+"/instrument", "A setting names a knife that is not listed among those used ("+string(s.Instrument)+").", "Add the knife, or check the setting.")
		}
	}
}
