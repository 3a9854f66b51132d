package pseudo_test

import (
	"encoding/json"
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/mapping/pseudo"
	"enbloc/mapping/sample"
)

// What a recipient will not delete keeps only what says which resource it is,
// that it is void, and what R4 requires: no finding, no date of the patient
// beyond one that R4 requires, no link between resources but the subject.
func TestWhatIsVoidIsEmpty(t *testing.T) {
	t.Parallel()
	r := recipient(t, pseudo.Settings{})
	out := apply(t, r, mapped(t, sample.Make(8).Merged()))
	seen := map[string]bool{}
	for _, res := range out.Resources {
		body, err := r.Void(res.Type, res.Body)
		require.NoError(t, err)
		if res.Type == "Provenance" {
			require.Nil(t, body)
			continue
		}
		var o map[string]json.RawMessage
		require.NoError(t, json.Unmarshal(body, &o))
		for name := range o {
			require.Contains(t, []string{"resourceType", "meta", "identifier", "status", "verificationStatus", "active", "event", "actuality", "subject",
				"patient", "code", "intent", "effectiveDateTime", "effectivePeriod", "medicationCodeableConcept"}, name, res.Role)
		}
		require.Contains(t, string(body), res.Key)
		seen[res.Type] = true
		switch res.Type {
		case "Observation":
			require.JSONEq(t, `"entered-in-error"`, string(o["status"]))
		case "Condition":
			require.Contains(t, string(o["verificationStatus"]), "entered-in-error")
			require.NotContains(t, o, "code")
		case "BodyStructure":
			require.JSONEq(t, `false`, string(o["active"]))
		}
	}
	require.Greater(t, len(seen), 5)
}
