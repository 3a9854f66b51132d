package server_test

import (
	"encoding/csv"
	"encoding/json"
	"net/http"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/mapping/indicator"
	"enbloc/mapping/sample"
	"enbloc/server/servertest"
)

func TestIndicators(t *testing.T) {
	t.Parallel()
	s := servertest.Start(t, servertest.Options{Undelivered: true})
	empty := s.Do(http.MethodGet, "/indicators", nil)
	require.Equal(t, http.StatusOK, empty.Status)
	require.Contains(t, string(empty.Body), "No resection")
	for c := range sample.Cohort(60, 2) {
		raw, err := json.Marshal(c.Report)
		require.NoError(t, err)
		require.Less(t, s.Do(http.MethodPost, "/cases", raw).Status, 300)
	}
	var got indicator.Report
	s.MustGet("/indicators?test_data=true&by=technique&indicator=en-bloc&indicator=volume", &got)
	require.Equal(t, 5, got.SmallCell)
	require.NotEmpty(t, got.Results)
	for _, r := range got.Results {
		require.Contains(t, []string{"en-bloc", "volume"}, r.Indicator)
		require.NotEmpty(t, r.Source)
	}
	described := "/indicators?test_data=true&by=organ"
	require.Empty(t, judge(t, s)(http.MethodGet, described, nil, s.Do(http.MethodGet, described, nil)))
	real := s.Do(http.MethodGet, "/indicators", nil)
	require.Contains(t, string(real.Body), "No resection", "invented cases must not enter real figures")

	lines, err := csv.NewReader(strings.NewReader(string(s.Do(http.MethodGet, "/indicators?test_data=true", nil, "Accept", "text/csv").Body))).ReadAll()
	require.NoError(t, err)
	require.Len(t, lines, len(indicator.Standard().Indicators)+1)
	var bundle struct{ ResourceType string }
	require.NoError(t, json.Unmarshal(s.Do(http.MethodGet, "/indicators?test_data=true", nil, "Accept", "application/fhir+json").Body, &bundle))
	require.Equal(t, "Bundle", bundle.ResourceType)
}

// TestIndicatorsFollowTheStore: figures are kept, and yet nobody who was told
// that a report is accepted is shown figures without it.
func TestIndicatorsFollowTheStore(t *testing.T) {
	t.Parallel()
	s := servertest.Start(t, servertest.Options{Undelivered: true})
	resections := func() int {
		var got indicator.Report
		s.MustGet("/indicators?test_data=true&indicator=volume", &got)
		if len(got.Results) == 0 || got.Results[0].Numerator == nil {
			return 0 // none, or a small cell
		}
		return *got.Results[0].Numerator
	}
	counts := map[int]bool{}
	for c := range sample.Cohort(30, 4) {
		raw, err := json.Marshal(c.Report)
		require.NoError(t, err)
		require.Less(t, s.Do(http.MethodPost, "/cases", raw).Status, 300)
		now := resections()
		require.Equal(t, now, resections(), "nothing came in between")
		counts[now] = true
	}
	require.Greater(t, len(counts), 5, "the answers did not change with the store")
}

// TestIndicatorsOfACohortOfOne: figures of one case would be that case, in
// whichever form and by whichever part they are asked for.
func TestIndicatorsOfACohortOfOne(t *testing.T) {
	t.Parallel()
	s := servertest.Start(t, servertest.Options{Undelivered: true})
	for c := range sample.Cohort(1, 3) {
		raw, err := json.Marshal(c.Report)
		require.NoError(t, err)
		require.Less(t, s.Do(http.MethodPost, "/cases", raw).Status, 300)
	}
	for _, by := range []string{"", "&by=organ", "&by=technique", "&by=operator", "&by=site"} {
		path := "/indicators?test_data=true" + by
		var got indicator.Report
		s.MustGet(path, &got)
		require.Contains(t, got.Note, "single patients", by)
		require.Nil(t, got.Rows)
		for _, r := range got.Results {
			for name, shown := range map[string]any{"numerator": r.Numerator, "denominator": r.Denominator, "excluded": r.Excluded, "not evaluable": r.NotEvaluable,
				"rate": r.Rate, "interval": r.Lower, "if unknown": r.IfNo, "median": r.Middle} {
				require.Nil(t, shown, "%s: %s of %s", by, name, r.Indicator)
			}
			require.Empty(t, r.Group, "a single case's %s is told", by)
		}
		rows, err := csv.NewReader(strings.NewReader(string(s.Do(http.MethodGet, path, nil, "Accept", "text/csv").Body))).ReadAll()
		require.NoError(t, err)
		for _, column := range []string{"numerator", "denominator", "rate"} {
			at := slices.Index(rows[0], column)
			require.GreaterOrEqual(t, at, 0, column)
			for _, row := range rows[1:] {
				require.Empty(t, row[at], column)
			}
		}
		measured := string(s.Do(http.MethodGet, path, nil, "Accept", "application/fhir+json").Body)
		require.NotContains(t, measured, `"count":1`)
		require.NotContains(t, measured, `"measureScore":{"value"`)
	}
}

func TestIndicatorsRefuseWhatTheyDoNotKnow(t *testing.T) {
	t.Parallel()
	s := servertest.Start(t, servertest.Options{Undelivered: true})
	for query, want := range map[string]struct {
		status int
		text   string
	}{
		"indicator=HTESTmoon":           {http.StatusNotFound, "en-bloc"},
		"by=HTESTmoon":                  {http.StatusBadRequest, "technique"},
		"from=HTESTyesterday":           {http.StatusBadRequest, "2026-03-10"},
		"from=2026-05-01&to=2026-04-01": {http.StatusBadRequest, "period is empty"},
		"organ=HTESTstomach":            {http.StatusBadRequest, "parameter"},
		"by=organ&by=site":              {http.StatusBadRequest, "twice"},
		"test_data=HTESTmaybe":          {http.StatusBadRequest, "true nor false"},
	} {
		a := s.Do(http.MethodGet, "/indicators?"+query, nil)
		require.Equal(t, want.status, a.Status, query)
		require.Contains(t, string(a.Body), want.text, query)
		require.NotContains(t, string(a.Body), "HTEST", "an answer must not repeat what was asked")
	}
}
