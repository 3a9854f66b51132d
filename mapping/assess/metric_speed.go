package assess

import (
	"time"

	"enbloc/mapping/assess/stats"
	"enbloc/mapping/report"
)

var (
	arithmetic = source{"arithmetic", "Arithmetic", "Arithmetic from the report", "", "follows from the definition by calculation; that a specimen is taken for an ellipse is common practice, no source"}
	expertMark = source{"quality", "JGH Open 2020", "Expert marks of dissection", "2020", "JGH Open 2020, PMC7411630 (9 cm²/h or more; two CUSUM papers want more than 9)"}
)

// diameters reads the two diameters of the pinned specimen, in mm.
func (k *look) diameters() (long, short *finding) {
	s := k.lesion.Specimen
	if s == nil {
		s = &report.Specimen{}
	}
	return k.number("/specimen/size_long_mm", "long diameter of the specimen", "mm", s.SizeLongMm),
		k.number("/specimen/size_short_mm", "short diameter of the specimen", "mm", s.SizeShortMm)
}

func pinned(k *look) bool { return k.lesion.Specimen != nil }

// ruleArea is the area of the specimen, stretched and pinned, as an ellipse.
var ruleArea = &rule{
	id: "R10.metric.specimen_area", title: "Area of the specimen", from: arithmetic, confirmed: Arithmetic,
	scope: ScopeLesion, applies: pinned,
	table: []Row{{"long and short diameter known", "π/4 · long · short, in mm²", Arithmetic}},
	ask: func(r *rule, k *look) Result {
		long, short := k.diameters()
		if f := measured(long, short); f.is != yes {
			return r.undecided(k, f.seen, f.open, "the area in mm²")
		}
		area := round(stats.EllipseArea(long.lo, short.lo), 1)
		out := r.result(k)
		out.Answer = plain(area)
		out.Values = map[string]any{"area_mm2": area}
		out.Inputs = k.pointers(long.bit | short.bit)
		out.Reason = "A specimen of " + plain(long.lo) + " by " + plain(short.lo) + " mm measures " + plain(area) + " mm² as an ellipse."
		return r.finish(k, out)
	},
}

// measured is the fact that every figure is known and above zero.
func measured(figures ...*finding) fact {
	out := fact{is: yes}
	for _, f := range figures {
		if f.known() && f.lo > 0 {
			out.seen |= f.bit
		} else {
			out.is, out.open = unknown, out.open|f.bit
		}
	}
	return out
}

// ruleSpeed divides the area by the time from the first mucosal cut to the end
// of the last dissection or snaring; base coagulation and closure come after.
var ruleSpeed = &rule{
	id: "R10.metric.speed", title: "Resection speed", from: expertMark, confirmed: Primary, scope: ScopeLesion,
	applies: func(k *look) bool { return pinned(k) && k.resection().Technique.Dissects() },
	cautions: []string{
		"Time from the start of the incision to the end of the resection, area of the pinned specimen as an ellipse.",
		"Speed depends on site and fibrosis: compare like with like.",
	},
	table: []Row{
		{"area and time known", "area / minutes; mm²/min × 0.6 = cm²/h", Arithmetic},
		{"9 cm²/h or more", "meets the expert mark", Primary},
	},
	ask: askSpeed,
}

func askSpeed(r *rule, k *look) Result {
	long, short := k.diameters()
	minutes := k.number("/resection/phases", "time from incision to the end of the resection", "min", cuttingMinutes(k.resection().Phases))
	if f := measured(long, short, minutes); f.is != yes {
		return r.undecided(k, f.seen, f.open, "the speed in cm²/h")
	}
	area := stats.EllipseArea(long.lo, short.lo)
	speed := area / minutes.lo
	hourly := stats.SqMmPerMinToSqCmPerHour(speed)
	out := r.result(k)
	out.Answer = plain(round(hourly, 1))
	out.Values = map[string]any{
		"area_mm2": round(area, 1), "mm2_per_min": round(speed, 3), "cm2_per_h": round(hourly, 3), "meets_9": hourly >= 9,
	}
	out.Inputs = k.pointers(long.bit | short.bit | minutes.bit)
	mark := "below"
	if hourly >= 9 {
		mark = "at or above"
	}
	out.Reason = plain(round(area, 0)) + " mm² in " + plain(round(minutes.lo, 1)) + " min is " + plain(round(hourly, 1)) + " cm²/h, " + mark + " the mark of 9 cm²/h."
	return r.finish(k, out)
}

// cuttingMinutes is the time from the first start of an incision to the last
// end of incision, trimming, dissection or snaring.
func cuttingMinutes(phases []report.Phase) report.Number {
	var start, end time.Time
	for _, p := range phases {
		switch p.Step {
		case report.StepIncision, report.StepTrimming, report.StepDissection, report.StepSnaring:
			if p.Step == report.StepIncision && (start.IsZero() || p.Start.At().Before(start)) {
				start = p.Start.At()
			}
			if p.End.At().After(end) {
				end = p.End.At()
			}
		}
	}
	if start.IsZero() || !end.After(start) {
		return report.Number{}
	}
	return report.Float(end.Sub(start).Minutes())
}
