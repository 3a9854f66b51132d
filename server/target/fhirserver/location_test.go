package fhirserver

import (
	"math/rand/v2"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// stated is the form of a location as http://hl7.org/fhir/R4/http.html#create and
// http://hl7.org/fhir/R4/references.html#literal state it, read from its end.
var stated = regexp.MustCompile(`(?:^|/)([A-Z][A-Za-z]+)/([A-Za-z0-9.-]{1,64})(?:/_history/([A-Za-z0-9.-]{1,64}))?/?$`)

func TestALocationIsReadAsItIsStated(t *testing.T) {
	t.Parallel()
	steps := []string{"Patient", "Observation", "P", "patient", "1", "a-b.c", "_history", "", "http:", "x y", "é", "?q=1", strings.Repeat("a", 64), strings.Repeat("a", 65), "Patient\n"}
	random := rand.New(rand.NewPCG(1, 2))
	matched := 0
	for range 200_000 {
		all := make([]string, random.IntN(7))
		for i := range all {
			all[i] = steps[random.IntN(len(steps))]
		}
		text := strings.Join(all, "/")
		want := [3]string{}
		if m := stated.FindStringSubmatch(text); m != nil {
			want = [3]string{m[1], m[2], m[3]}
			matched++
		}
		kind, id, version := location(text)
		require.Equal(t, want, [3]string{kind, id, version}, "%q", text)
	}
	require.Greater(t, matched, 5_000)
}
