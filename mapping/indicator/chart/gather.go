package chart

import (
	"cmp"
	"slices"

	"enbloc/mapping/table"
)

// Gathered is what the pictures need of many cases. The zero value is ready.
type Gathered struct {
	r0     map[string]*Unit
	blocs  []bloc
	speeds map[string][]float64 // by month
	cells  map[[2]string]int
}

// bloc is one dissection with a known answer.
type bloc struct {
	operator, key string
	day           int64
	lesion        int64
	enBloc        bool
}

// rows names the columns that are read.
var (
	caseDay   = table.Cases.Index("session_date")
	caseLead  = table.Cases.Index("operator_key")
	lesionAt  = table.Resections.Index("lesion")
	technique = table.Resections.Index("technique")
	r0        = table.Resections.Index("r0")
	enBloc    = table.Resections.Index("en_bloc")
	speed     = table.Resections.Index("speed_cm2_h")
	site      = table.Lesions.Index("site")
	paris     = table.Lesions.Index("paris_dominant")
	removed   = table.Lesions.Index("resected")
)

// Add takes one case that is to be drawn.
func (g *Gathered) Add(c table.Case) {
	if g.r0 == nil {
		g.r0, g.speeds, g.cells = map[string]*Unit{}, map[string][]float64{}, map[[2]string]int{}
	}
	whole := table.Cases.Rows(c)[0]
	for _, l := range table.Lesions.Rows(c) {
		if l[removed].Integer() == 1 && !l[site].Empty() && !l[paris].Empty() {
			g.cells[[2]string{l[site].Text(), l[paris].Text()}]++
		}
	}
	for _, r := range table.Resections.Rows(c) {
		if t := r[technique].Text(); t != "esd" && t != "hybrid-esd" {
			continue
		}
		g.addDissection(c.Key, whole, r)
	}
}

func (g *Gathered) addDissection(key string, whole, r []table.Value) {
	operator := whole[caseLead].Text()
	if v := r[speed]; !v.Empty() {
		month := whole[caseDay].Format(table.Day)[:7]
		g.speeds[month] = append(g.speeds[month], v.Decimal())
	}
	if operator == "" {
		return
	}
	if answer := r[r0].Text(); answer == "yes" || answer == "no" {
		u := g.r0[operator]
		if u == nil {
			u = &Unit{Label: shortKey(operator)}
			g.r0[operator] = u
		}
		u.N++
		if answer == "yes" {
			u.Events++
		}
	}
	if answer := r[enBloc].Text(); answer == "yes" || answer == "no" {
		g.blocs = append(g.blocs, bloc{operator, key, whole[caseDay].Integer(), r[lesionAt].Integer(), answer == "yes"})
	}
}

// shortKey is enough of an opaque key to find it again.
func shortKey(key string) string { return key[:min(7, len(key))] }

// Named is a picture with the name of its file, without its ending.
type Named struct {
	Name    string
	Picture *Picture
}

// Rates that the learning curve of en bloc resection is drawn for. 10% failures
// is the expert mark (JGH Open 2020, PMC7411630: en bloc in at least 90%); that
// 20% is unacceptable is a choice, no source.
const (
	AcceptableFailure   = 0.10
	UnacceptableFailure = 0.20
)

// Draw makes the pictures. One for which there is too little is left out; least
// is the smallest count that is shown.
func (g *Gathered) Draw(period string, least int) ([]Named, error) {
	var out []Named
	for _, one := range []struct {
		name string
		make func(string, int) (*Picture, error)
	}{{"funnel-r0-by-operator", g.funnel}, {"learning-curve-en-bloc", g.curve}, {"speed-by-month", g.speed}, {"sites-and-paris-types", g.sites}} {
		picture, err := one.make(period, least)
		if err == ErrNothing { //nolint:errorlint // our own, never wrapped
			continue
		}
		if err != nil {
			return nil, err
		}
		out = append(out, Named{one.name, picture})
	}
	return out, nil
}

func (g *Gathered) funnel(period string, least int) (*Picture, error) {
	var units []Unit
	all := Unit{}
	for _, operator := range sortedKeys(g.r0) {
		units = append(units, *g.r0[operator])
		all.Events, all.N = all.Events+g.r0[operator].Events, all.N+g.r0[operator].N
	}
	if all.N == 0 {
		return nil, ErrNothing
	}
	return Funnel(FunnelOf{Title: "R0 resection by operator", Rate: "R0 rate", Cases: "dissections with evaluable R0",
		Target: float64(all.Events) / float64(all.N), TargetOf: "this unit's own rate over all operators", Units: units, Least: least, Period: period})
}

func (g *Gathered) curve(period string, least int) (*Picture, error) {
	slices.SortFunc(g.blocs, func(a, b bloc) int {
		return cmp.Or(cmp.Compare(a.day, b.day), cmp.Compare(a.key, b.key), cmp.Compare(a.lesion, b.lesion))
	})
	by := map[string]*Learner{}
	for _, b := range g.blocs {
		if by[b.operator] == nil {
			by[b.operator] = &Learner{Label: shortKey(b.operator)}
		}
		by[b.operator].Success = append(by[b.operator].Success, b.enBloc)
	}
	var learners []Learner
	for _, operator := range sortedKeys(by) {
		if len(by[operator].Success) >= least {
			learners = append(learners, *by[operator])
		}
	}
	slices.SortStableFunc(learners, func(a, b Learner) int { return cmp.Compare(len(b.Success), len(a.Success)) })
	return LearningCurve(CurveOf{Title: "Learning curve: en bloc dissection (LC-CUSUM)", Failure: "a dissection that is not en bloc",
		Acceptable: AcceptableFailure, Unacceptable: UnacceptableFailure, Learners: learners, Period: period})
}

func (g *Gathered) speed(period string, least int) (*Picture, error) {
	var months []Month
	for _, m := range sortedKeys(g.speeds) {
		months = append(months, Month{m, g.speeds[m]})
	}
	return Speed("Speed of dissection by month", period, months, least)
}

// order of sites and types, from the mouth down.
var (
	siteOrder = []string{"cervical-oesophagus", "thoracic-oesophagus", "abdominal-oesophagus", "gastro-oesophageal-junction",
		"cardia", "fundus", "body", "angular-incisure", "antrum", "prepylorus", "pylorus", "remnant-stomach",
		"duodenal-bulb", "second-part", "third-part", "fourth-part", "major-papilla", "terminal-ileum", "caecum", "ileocaecal-valve",
		"ascending-colon", "hepatic-flexure", "transverse-colon", "splenic-flexure", "descending-colon", "sigmoid-colon",
		"rectosigmoid-junction", "upper-rectum", "lower-rectum", "dentate-line"}
	typeOrder = []string{"0-Ip", "0-Isp", "0-Is", "0-IIa", "0-IIb", "0-IIc", "0-III"}
)

func (g *Gathered) sites(period string, least int) (*Picture, error) {
	var cells []Cell
	seen, types := map[string]bool{}, map[string]bool{}
	for at, n := range g.cells {
		cells = append(cells, Cell{at[0], at[1], n})
		seen[at[0]], types[at[1]] = true, true
	}
	slices.SortFunc(cells, func(a, b Cell) int { return cmp.Or(cmp.Compare(a.Site, b.Site), cmp.Compare(a.Paris, b.Paris)) })
	keep := func(order []string, has map[string]bool) []string {
		return slices.DeleteFunc(slices.Clone(order), func(n string) bool { return !has[n] })
	}
	return SiteMap("Site and Paris type of resected lesions", period, keep(siteOrder, seen), keep(typeOrder, types), cells, least)
}

func sortedKeys[V any](m map[string]V) []string {
	out := make([]string, 0, len(m))
	for k := range m {
		out = append(out, k)
	}
	slices.Sort(out)
	return out
}
