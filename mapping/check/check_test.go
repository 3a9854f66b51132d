package check

import (
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/mapping/report"
	"enbloc/schemas"
)

// ids lists the checks that spoke.
func ids(findings []report.Finding) []string {
	list := []string{}
	for _, f := range findings {
		list = append(list, f.ID)
	}
	return list
}

func TestNothingIsAmissInTheBases(t *testing.T) {
	t.Parallel()
	for name, base := range map[string]func(testing.TB) report.Report{
		"stomach": gastric, "colon": colonic, "oesophagus": squamous, "duodenum": duodenal,
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			require.Empty(t, Check(base(t)))
		})
	}
	require.Empty(t, CheckHistology(read(t, "histology.json", schemas.DecodeHistology)))
	require.Empty(t, CheckEvents(read(t, "events.json", schemas.DecodeEvents)))
}

func TestOneChangeTripsItsCheck(t *testing.T) {
	t.Parallel()
	for _, trip := range trips {
		t.Run(trip.id, func(t *testing.T) {
			t.Parallel()
			r := copyOf(t, trip.base(t))
			trip.change(&r)
			findings := Check(r)
			require.Contains(t, ids(findings), trip.id)
			for _, f := range findings {
				pointsIntoDocument(t, r, f.Pointer)
			}
		})
	}
}

// Trips of parts, whose bases are the parts of the schema's tests.
var (
	histologyTrips = map[string]func(p *report.HistologyPart){
		"part.withdrawn-without-reason": func(p *report.HistologyPart) { p.Withdrawn = true },
		"part.no-results":               func(p *report.HistologyPart) { p.Results = nil },
		"part.result-twice":             func(p *report.HistologyPart) { p.Results = append(p.Results, p.Results[0]) },
		"part.result-unnamed": func(p *report.HistologyPart) {
			p.Results = append(p.Results, report.LesionHistology{Histology: p.Results[0].Histology})
		},
		"histology.depth-though-intramucosal": func(p *report.HistologyPart) { p.Results[0].Histology.DepthUm = report.Int(200) },
	}
	eventsTrips = map[string]func(p *report.EventsPart){
		"part.withdrawn-without-reason":   func(p *report.EventsPart) { p.Withdrawn = true },
		"part.no-events":                  func(p *report.EventsPart) { p.Events = nil },
		"part.event-id-twice":             func(p *report.EventsPart) { p.Events = append(p.Events, p.Events[0]) },
		"event.units-without-transfusion": func(p *report.EventsPart) { p.Events[0].TransfusionUnits = report.Int(1) },
	}
)

func TestOneChangeTripsItsCheckInParts(t *testing.T) {
	t.Parallel()
	for id, change := range histologyTrips {
		p := read(t, "histology.json", schemas.DecodeHistology)
		change(&p)
		require.Equal(t, []string{id}, ids(CheckHistology(p)))
	}
	for id, change := range eventsTrips {
		p := read(t, "events.json", schemas.DecodeEvents)
		change(&p)
		require.Equal(t, []string{id}, ids(CheckEvents(p)))
	}
}

func TestEveryRowIsWholeAndTripped(t *testing.T) {
	t.Parallel()
	tripped := map[string]bool{}
	for _, trip := range trips {
		tripped[trip.id] = true
	}
	for id := range histologyTrips {
		tripped[id] = true
	}
	for id := range eventsTrips {
		tripped[id] = true
	}
	form := regexp.MustCompile(`^[a-z]+(\.[a-z]+(-[a-z]+)*)$`)
	seen := map[string]bool{}
	for _, row := range Table() {
		require.Regexp(t, form, row.ID)
		require.False(t, seen[row.ID], "two rows have the id %s", row.ID)
		seen[row.ID] = true
		require.True(t, tripped[row.ID], "no trip for %s", row.ID)
		require.NotNil(t, row.run, row.ID)
		require.NotEmpty(t, row.LooksAt, row.ID)
		require.NotEmpty(t, row.Source, row.ID)
		require.Contains(t, []report.Severity{reject, warn, advise}, row.Severity)
	}
	for id := range tripped {
		require.True(t, seen[id], "a trip names %s, which is no row", id)
	}
	require.GreaterOrEqual(t, len(seen), 40)
}

// Sentences are for people: they begin with a capital or a field's word, end
// with a full stop, and repeat no identifier and no free text.
func TestSentencesAreWholeAndDiscreet(t *testing.T) {
	t.Parallel()
	for _, trip := range trips {
		r := copyOf(t, trip.base(t))
		trip.change(&r)
		for _, f := range Check(r) {
			for _, sentence := range []string{f.Text, f.Mend} {
				require.True(t, strings.HasSuffix(sentence, "."), "%s: %q", f.ID, sentence)
				require.NotContains(t, sentence, "HTEST")
				require.NotContains(t, sentence, "EV-1")
				require.NotContains(t, sentence, "  ")
			}
		}
	}
}
