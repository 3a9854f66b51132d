package assess

import (
	"maps"
	"strconv"
	"strings"
)

// item is one line of a point score.
type item[C any] struct {
	points int
	what   string
	is     func(c C) fact
	less   func(c C) fact // when it holds too, the item is worth one point less
}

// band is a group of a point score, up to and including a number of points.
type band struct {
	upTo   int
	group  string
	values map[string]any
	risk   *Risk
	reason string
}

// scored makes a rule of a point score. A score answers only when every item
// is known: a sum with a hole in it is no score. Key names the group in
// Result.Values.
func scored[C any](r rule, key string, gather func(k *look) C, items []item[C], bands []band) *rule {
	for _, it := range items {
		r.table = append(r.table, Row{it.what, signed(it.points), r.confirmed})
		if it.less != nil {
			r.table = append(r.table, Row{it.what + " interrupted", "-1", r.confirmed})
		}
	}
	from := "0"
	for _, b := range bands {
		if b.group == "" {
			continue
		}
		r.table = append(r.table, Row{from + " to " + strconv.Itoa(b.upTo) + " points", b.group, r.confirmed})
		from = strconv.Itoa(b.upTo + 1)
	}
	r.ask = func(r *rule, k *look) Result {
		c := gather(k)
		s := add(c, items)
		if s.open != 0 {
			decides := "between " + strconv.Itoa(s.low) + " and " + strconv.Itoa(s.high) + " points with what is known"
			if alone := k.wouldDecide(s.open, func() (string, bool) {
				again := add(c, items)
				return r.saysPoints(again.low, bands), again.open == 0
			}); alone != "" {
				decides += "; " + alone
			}
			return r.undecided(k, s.seen, s.open, decides)
		}
		return r.fromScore(k, key, s, bandOf(s.low, bands))
	}
	return &r
}

// sum is the total of a score: equal bounds when every item is known.
type sum struct {
	low, high  int
	seen, open set
	counted    []string // what scored, with its points
}

func add[C any](c C, items []item[C]) sum {
	var s sum
	for _, it := range items {
		f := it.is(c)
		s.seen |= f.seen
		switch f.is {
		case unknown:
			s.high += it.points
			s.open |= f.open
		case yes:
			s.low, s.high = s.low+it.points, s.high+it.points
			s.counted = append(s.counted, it.what+" "+signed(it.points))
			if it.less != nil {
				s.deduct(it.less(c))
			}
		}
	}
	return s
}

// deduct takes the point off that an interruption is worth.
func (s *sum) deduct(f fact) {
	s.seen |= f.seen
	switch f.is {
	case yes:
		s.low, s.high = s.low-1, s.high-1
		s.counted = append(s.counted, "interruption -1")
	case unknown:
		s.low--
		s.open |= f.open
	}
}

func bandOf(points int, bands []band) band {
	for _, b := range bands {
		if points <= b.upTo {
			return b
		}
	}
	return bands[len(bands)-1]
}

func (r *rule) saysPoints(points int, bands []band) string {
	out := count(points)
	if group := bandOf(points, bands).group; group != "" {
		out = r.says(group) + " (" + out + ")"
	}
	return out
}

func (r *rule) fromScore(k *look, key string, s sum, b band) Result {
	out := r.result(k)
	out.Answer = b.group
	if out.Answer == "" {
		out.Answer = strconv.Itoa(s.low)
	}
	out.Values = maps.Clone(b.values)
	if out.Values == nil {
		out.Values = map[string]any{}
	}
	out.Values["points"] = float64(s.low)
	if b.group != "" {
		out.Values[key] = b.group
	}
	if b.risk != nil {
		risk := *b.risk
		out.Risk = &risk
	}
	out.Inputs = k.pointers(s.seen)
	counted := "no item scores"
	if len(s.counted) > 0 {
		counted = strings.Join(s.counted, ", ")
	}
	out.Reason = strings.TrimSpace(count(s.low) + " (" + counted + "). " + b.reason)
	return r.finish(k, out)
}

func count(points int) string {
	if points == 1 {
		return "1 point"
	}
	return strconv.Itoa(points) + " points"
}

func signed(points int) string { return "+" + strconv.Itoa(points) }
