package delivery

import (
	"encoding/json"
	"testing"

	"github.com/stretchr/testify/require"
)

// An object is taken apart into what the decoder finds in it, and what is not
// JSON at its first level is refused.
func FuzzMembers(f *testing.F) {
	for _, seed := range []string{`{}`, ` { "a" : 1 , "b":[{"c":"}]"}], "d\"":"\\" } `, `{"a":"x","a":{"b":null}}`, `{"a":1,}`, `{"a"}`, `{"a":}`, `{"a":[}`, `[1]`, `null`, `{"a":"`, `{`, `{"a":1}}`, `{"\u0061":true}`} {
		f.Add([]byte(seed))
	}
	f.Fuzz(func(t *testing.T, raw []byte) {
		got, err := members(raw)
		var want map[string]json.RawMessage
		if json.Unmarshal(raw, &want) != nil {
			if err == nil { // every value is checked when it is decoded
				_, err = trees(got)
			}
			require.Error(t, err)
			return
		}
		require.NoError(t, err)
		require.Equal(t, len(want), len(got))
		for name, value := range want {
			require.JSONEq(t, string(value), string(got[name]))
		}
	})
}
