//go:build peers

package practice_test

import (
	"os"
	"testing"

	"github.com/google/uuid"
	"github.com/stretchr/testify/require"
)

// TestARealServerAnswersTheSame puts the receiver's questions to the HAPI FHIR
// server at ENBLOC_TEST_HAPI. Where it answers otherwise the table says so: the
// receiver may be stricter than the real thing, never kinder.
func TestARealServerAnswersTheSame(t *testing.T) {
	base := os.Getenv("ENBLOC_TEST_HAPI")
	require.NotEmpty(t, base, "start a HAPI FHIR server and give its base URL in ENBLOC_TEST_HAPI")
	for _, q := range questions {
		t.Run(q.name, func(t *testing.T) {
			want := q.want
			if q.differs != same {
				want = q.differs.hapi
			}
			require.Equal(t, want, q.ask(server{t, base, "HTEST-" + uuid.NewString()[:8]}))
		})
	}
}
