package service

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestKeyIsMadeOnceAndOnlyForItsOwner(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "new", "identity.key")
	made, err := MakeKey(path)
	require.NoError(t, err)
	info, err := os.Stat(path)
	require.NoError(t, err)
	require.Equal(t, os.FileMode(0o600), info.Mode().Perm())

	read, err := LoadKey(path)
	require.NoError(t, err)
	require.Equal(t, made, read)
	require.Len(t, read, 32)

	_, err = MakeKey(path)
	require.ErrorIs(t, err, os.ErrExist)
	again, err := LoadKey(path)
	require.NoError(t, err)
	require.Equal(t, made, again, "a second start changed the key")
}

func TestSecretsThatAreNone(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	for name, content := range map[string]string{
		"empty": "", "newline": "\n", "lines": "one\ntwo\n", "nul": "a\x00b", "long": strings.Repeat("x", maxSecret+1),
	} {
		path := filepath.Join(dir, name)
		require.NoError(t, os.WriteFile(path, []byte(content), 0o600))
		_, err := ReadSecret(path)
		require.Error(t, err, name)
		require.Contains(t, err.Error(), path, "the message must say which file")
	}
	_, err := ReadSecret(dir)
	require.Error(t, err)
	_, err = ReadSecret(filepath.Join(dir, "nowhere"))
	require.ErrorIs(t, err, os.ErrNotExist)
}

func TestSecretLosesItsLineBreakOnly(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "token")
	require.NoError(t, os.WriteFile(path, []byte("  a token \r\n"), 0o600))
	got, err := ReadSecret(path)
	require.NoError(t, err)
	require.Equal(t, "  a token ", got)
}

func TestKeyFileErrorsNeverQuoteTheKey(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "identity.key")
	require.NoError(t, os.WriteFile(path, []byte("secretsecret"), 0o600))
	_, err := LoadKey(path)
	require.Error(t, err)
	require.NotContains(t, err.Error(), "secretsecret")
}
