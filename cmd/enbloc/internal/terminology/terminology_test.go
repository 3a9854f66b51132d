package terminology_test

import (
	"context"
	"net/http"
	"net/http/httptest"
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/cmd/enbloc/internal/terminology"
)

// "False" is a refusal unless the server says that it does not have the code
// system. The first two answers are HAPI 8.8's, as received; the parameter is
// what HL7's terminology servers send.
func TestARefusalIsNotAnUnknownSystem(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		more     string
		answered bool
	}{
		"system unknown":           {`{"name":"message","valueString":"CodeSystem is unknown and can't be validated: http://loinc.org for 'http://loinc.org#18751-8'"}`, false},
		"no service for it":        {`{"name":"message","valueString":"Terminology service was unable to provide validation for http://snomed.info/sct#387713003"}`, false},
		"named by a parameter":     {`{"name":"x-caused-by-unknown-system","valueCanonical":"http://loinc.org"}`, false},
		"code unknown":             {`{"name":"message","valueString":"Unknown code 'http://hl7.org/fhir/administrative-gender#htest-no'"}`, true},
		"no reason given":          {`{"name":"display","valueString":"HTEST"}`, true},
		"other words, not guessed": {`{"name":"message","valueString":"I have never heard of that system"}`, true},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
				_, _ = w.Write([]byte(`{"resourceType":"Parameters","parameter":[{"name":"result","valueBoolean":false},` + c.more + `]}`))
			}))
			t.Cleanup(server.Close)
			client, err := terminology.New(server.URL, "")
			require.NoError(t, err)
			v, err := client.Ask(context.Background(), "http://loinc.org", "18751-8", "")
			require.NoError(t, err)
			require.Equal(t, c.answered, v.Answered)
			require.False(t, v.Valid)
		})
	}
}
