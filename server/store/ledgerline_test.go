package store

import (
	"bytes"
	"encoding/gob"
	"slices"
	"testing"
	"time"

	"github.com/klauspost/compress/s2"
	"github.com/stretchr/testify/require"
)

func someEntries() []LedgerEntry {
	at := time.UnixMicro(1_700_000_000_000_001).UTC()
	return []LedgerEntry{
		{RoleKey: "k1", Role: "report", CaseKey: "c", Type: "DiagnosticReport", ServerID: "7", Version: `W/"1"`, Hash: "h", Body: []byte(`{"a":1}`), Sequence: 2, Written: at},
		{RoleKey: "k2", Role: "lesion/1", CaseKey: "c", Type: "Condition", Voided: true, Sequence: 1},
	}
}

func TestAPageIsReadAsItWasPacked(t *testing.T) {
	t.Parallel()
	got, err := unpackPage("c", packPage(someEntries()))
	require.NoError(t, err)
	require.Equal(t, someEntries(), got)
	got, err = unpackPage("c", packPage(nil))
	require.NoError(t, err)
	require.Empty(t, got)
}

// Pages that were packed before the form changed are read as they are.
func TestAPageOfTheFormBeforeIsRead(t *testing.T) {
	t.Parallel()
	var plain bytes.Buffer
	to := gob.NewEncoder(&plain)
	for _, e := range someEntries() {
		require.NoError(t, to.Encode(line{e.RoleKey, e.Role, e.Type, e.ServerID, e.Version, e.Hash, e.Body, e.Sequence, e.Voided, micros(e.Written)}))
	}
	got, err := unpackPage("c", s2.Encode(nil, plain.Bytes()))
	require.NoError(t, err)
	require.Equal(t, someEntries(), got)
}

// A page that is cut off, or longer than it says, is an error and never an entry
// that nobody wrote.
func FuzzLines(f *testing.F) {
	whole := appendLines(nil, someEntries())
	for end := range whole {
		f.Add(slices.Clone(whole[:end]))
	}
	f.Add(append(slices.Clone(whole), 0xff))
	f.Fuzz(func(t *testing.T, plain []byte) {
		entries, err := readLines(plain)
		if err != nil || len(plain) == 0 || plain[0] != lineForm {
			return
		}
		again, err := readLines(appendLines(nil, entries))
		require.NoError(t, err)
		require.Equal(t, entries, again)
		if bytes.HasPrefix(whole, plain) {
			require.Equal(t, appendLines(nil, someEntries()[:len(entries)]), plain)
		}
	})
}
