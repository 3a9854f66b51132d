package practice

import (
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// met is a receiver that plays a request which came before x was changed.
func met(seed uint64) *Receiver {
	r := New("")
	r.Shape(Shape{Racy: true, Seed: seed})
	r.race.done, r.race.changed["x"] = 1, 1
	return r
}

func TestRacesAreDrawnBySeed(t *testing.T) {
	t.Parallel()
	row := func(seed uint64) string {
		var all strings.Builder
		for r := met(seed); all.Len() < 1000; {
			if r.loses("x") != nil {
				all.WriteByte('-')
			} else {
				all.WriteByte('+')
			}
		}
		return all.String()
	}
	require.Equal(t, row(7), row(7))
	require.NotEqual(t, row(7), row(8))
	require.InDelta(t, 1000*losing, strings.Count(row(7), "-"), 80, "five standard deviations of 1000 draws")
}

func TestWhoMeetsNobodyLosesNothing(t *testing.T) {
	t.Parallel()
	r := met(7)
	for range 100 {
		require.Nil(t, r.loses("y"), "something else was changed")
		require.False(t, r.overlooks("y"))
	}
	r.since = 1
	for range 100 {
		require.Nil(t, r.loses("x"), "it came after the change")
		require.False(t, r.overlooks("x"))
	}
}

func TestALateSearchIsLateForSoLong(t *testing.T) {
	t.Parallel()
	r := New("")
	now := time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC)
	r.now = func() time.Time { return now }
	r.Shape(Shape{LateSearch: time.Minute, Deletes: true})
	found := func(query string) int {
		rec := httptest.NewRecorder()
		r.ServeHTTP(rec, httptest.NewRequest(http.MethodGet, "/Patient?"+query, nil))
		return strings.Count(rec.Body.String(), `"mode":"match"`)
	}
	require.Zero(t, found("identifier=a|b"))
	id, err := r.Seed("Patient", "a", "b", nil)
	require.NoError(t, err)
	require.Zero(t, found("identifier=a|b&_count=20"), "the same search, however many are wanted")
	require.Equal(t, 1, found("_id="+id), "another search")
	now = now.Add(time.Minute)
	require.Equal(t, 1, found("identifier=a|b"))
	r.ServeHTTP(httptest.NewRecorder(), httptest.NewRequest(http.MethodDelete, "/Patient/"+id, nil))
	require.Zero(t, found("identifier=a|b"), "what was deleted is never shown")
}
