package sample

import (
	"math"
	"math/rand/v2"

	"enbloc/mapping/report"
)

// dice makes the choices. With bags, each question keeps a shuffled bag of its
// answers and refills it when it is empty, so that every answer comes up soon:
// each lies in the bag once, and the common ones once more for each half of an n-th of the
// whole that is theirs. Without bags, answers are drawn by their shares.
type dice struct {
	rng  *rand.Rand
	bags map[string][]int // nil: draw by shares
}

func newDice(seed uint64, bags bool) *dice {
	d := &dice{rng: rand.New(rand.NewPCG(seed, 0x656e626c6f63))}
	if bags {
		d.bags = map[string][]int{}
	}
	return d
}

// index answers a question of n answers.
func (d *dice) index(question string, n int, shares []float64) int {
	if d.bags == nil {
		return d.byShare(n, shares)
	}
	bag := d.bags[question]
	if len(bag) == 0 {
		bag = d.fill(n, shares)
	}
	d.bags[question] = bag[1:]
	return bag[0]
}

// fill makes a shuffled bag of n answers.
func (d *dice) fill(n int, shares []float64) []int {
	shares = shares[:min(n, len(shares))]
	total := sum(shares)
	var bag []int
	for i := range n {
		times := 1
		if i < len(shares) {
			times += int(2 * float64(n) * shares[i] / total)
		}
		for range times {
			bag = append(bag, i)
		}
	}
	d.rng.Shuffle(len(bag), func(i, j int) { bag[i], bag[j] = bag[j], bag[i] })
	return bag
}

func sum(shares []float64) float64 {
	total := 0.0
	for _, share := range shares {
		total += share
	}
	return total
}

// byShare draws with the given shares, or evenly when there are none. Shares
// beyond the last answer are ignored; an answer beyond the last share is never
// drawn.
func (d *dice) byShare(n int, shares []float64) int {
	shares = shares[:min(n, len(shares))]
	if len(shares) == 0 {
		return d.rng.IntN(n)
	}
	left := d.rng.Float64() * sum(shares)
	for i, share := range shares {
		if left -= share; left < 0 {
			return i
		}
	}
	return len(shares) - 1
}

// pick chooses one of the values; shares are their weights.
func pick[T any](d *dice, question string, values []T, shares ...float64) T {
	return values[d.index(question, len(values), shares)]
}

// some chooses between least and most different values, in a drawn order.
func some[T comparable](d *dice, question string, values []T, least, most int, shares ...float64) []T {
	n := least + d.rng.IntN(most-least+1)
	var out []T
	for len(out) < n {
		v := pick(d, question, values, shares...)
		if !contains(out, v) {
			out = append(out, v)
		} else if d.bags != nil {
			break // a bag holds common answers twice; fewer will do
		}
	}
	return out
}

func contains[T comparable](list []T, v T) bool {
	for _, had := range list {
		if had == v {
			return true
		}
	}
	return false
}

// even are the shares to draw by, none with bags: for questions whose rare
// answers open a branch of the report that would else be seldom reached.
func (d *dice) even(shares ...float64) []float64 {
	if d.bags != nil {
		return nil
	}
	return shares
}

// either are the shares to draw by: the first without bags, the second with.
func (d *dice) either(drawn, bagged []float64) []float64 {
	if d.bags != nil {
		return bagged
	}
	return drawn
}

// has decides whether an optional part is there: nearly always; with bags,
// three times out of four.
func (d *dice) has(question string) bool {
	if d.bags == nil {
		return d.rng.Float64() < 0.93
	}
	return d.index("has "+question, 4, nil) > 0
}

// rare decides whether something unusual is there; with bags, every second
// time.
func (d *dice) rare(question string, p float64) bool {
	return d.index("rare "+question, 2, d.even(1-p, p)) == 1
}

// whole draws a whole number from lo to hi, both included.
func (d *dice) whole(lo, hi int) int { return lo + d.rng.IntN(hi-lo+1) }

// logNormal draws from a log-normal distribution by its median and the
// standard deviation of the logarithm.
func (d *dice) logNormal(median, sigma float64) float64 {
	return median * math.Exp(sigma*d.rng.NormFloat64())
}

// The ways in which a field may have no value; "" is left out.
var silences = []report.Absence{"", report.Unknown, report.NotAssessed, report.NotApplicable}

// silent decides whether a field has no value and how that is said. With bags
// every way comes up, but most of the time there is a value.
func (d *dice) silent(question string) (report.Absence, bool) {
	question = "silent " + question
	if d.bags == nil {
		if d.rng.Float64() > 0.04 {
			return "", false
		}
		return pick(d, question, silences, 6, 2, 1, 1), true
	}
	at := d.index(question, 3*len(silences), nil)
	if at >= len(silences) {
		return "", false
	}
	return silences[at], true
}

// said is the value, or now and then a kind of absence, or nothing.
func said[T ~string](d *dice, field string, value T) T {
	if absence, silent := d.silent(field); silent {
		return T(absence)
	}
	return value
}

// one is one of the values, or now and then a kind of absence, or nothing.
func one[T ~string](d *dice, field string, values []T, shares ...float64) T {
	return said(d, field, pick(d, field, values, shares...))
}

// plain is one of the values or now and then nothing, for a field that knows
// no kinds of absence.
func plain[T ~string](d *dice, field string, values []T, shares ...float64) T {
	if !d.has(field) {
		return ""
	}
	return pick(d, field, values, shares...)
}

// answer is a yes with the given share, else a no, or a kind of absence.
func (d *dice) answer(field string, yes float64) report.Answer {
	return one(d, field, []report.Answer{report.Yes, report.No}, yes, 1-yes)
}

// sign is positive with the given share, else negative, or a kind of absence.
func (d *dice) sign(field string, positive float64) report.Sign {
	return one(d, field, []report.Sign{report.Positive, report.Negative, report.CannotBeAssessed}, positive, 1-positive, 0.02)
}

// number is the figure with the given decimals, or a kind of absence, or
// nothing.
func (d *dice) number(field string, v float64, decimals int) report.Number {
	if absence, silent := d.silent(field); silent {
		if absence == "" {
			return report.Number{}
		}
		return report.Absent(absence)
	}
	return figure(v, decimals)
}

// stated is the figure or a kind of absence, for a field that may not be left
// out.
func (d *dice) stated(field string, v float64, decimals int) report.Number {
	if n := d.number(field, v, decimals); n.Reported() {
		return n
	}
	return figure(v, decimals)
}

// figure rounds to the given decimals.
func figure(v float64, decimals int) report.Number {
	scale := math.Pow(10, float64(decimals))
	return report.Float(math.Round(v*scale) / scale)
}

// text is a sentence or nothing.
func (d *dice) text(field, sentence string) string {
	if !d.rare("text "+field, 0.3) {
		return ""
	}
	return sentence
}
