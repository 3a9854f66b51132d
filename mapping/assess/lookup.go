package assess

import (
	"maps"
	"strings"

	"enbloc/mapping/report"
)

// entry is one line of a table that translates a class the endoscopist chose.
type entry[T ~string] struct {
	class     T
	then      string
	values    map[string]any
	reason    string
	confirmed Confirmed
	caution   string
	risk      *Risk
	absent    bool // the class stands for a field that says nothing
}

// lookedUp makes a rule that looks one class up in a table. It is asked only
// when the report says something about the class, be it that it is unknown.
func lookedUp[T ~string](r rule, key, path, name string, read func(k *look) T, table []entry[T]) *rule {
	where := r.applies
	r.applies = func(k *look) bool { return where(k) && read(k) != "" }
	for i := range table {
		if table[i].confirmed == "" {
			table[i].confirmed = r.confirmed
		}
		r.table = append(r.table, Row{string(table[i].class), table[i].then, table[i].confirmed})
	}
	r.ask = func(r *rule, k *look) Result {
		class := read(k)
		f := k.sign(path, name, truthOf(report.Known(class)), why(report.AbsenceOf(class)), "", "")
		if strings.HasPrefix(path, "/before/") {
			f.base = ""
		}
		for _, e := range table {
			if e.class != class {
				continue
			}
			out := r.result(k)
			out.Answer, out.Reason, out.Confirmed = e.then, e.reason+".", e.confirmed
			if out.Inputs = []string{f.pointer()}; e.absent {
				out.Inputs, out.Missing = nil, []string{f.pointer()}
			}
			out.Values = maps.Clone(e.values)
			if out.Values == nil {
				out.Values = map[string]any{}
			}
			out.Values[key] = e.then
			if e.risk != nil {
				risk := *e.risk
				out.Risk = &risk
			}
			return r.finish(k, out, e.caution)
		}
		if f.sign == yes {
			f.why = "is not a class of this table"
		}
		return r.undecided(k, 0, f.bit, "")
	}
	return &r
}
