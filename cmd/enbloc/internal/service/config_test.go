package service

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestConfigRefusesWhatWouldExposePatients(t *testing.T) {
	t.Parallel()
	long := "0123456789abcdef"
	for name, c := range map[string]struct {
		config Config
		want   string // part of the message, empty for none
	}{
		"nothing set":                 {Config{}, ""},
		"loopback by name":            {Config{Listen: "localhost:0"}, ""},
		"loopback, IPv6":              {Config{Listen: "[::1]:8700"}, ""},
		"all interfaces":              {Config{Listen: "0.0.0.0:8700"}, "without a token"},
		"all interfaces, host empty":  {Config{Listen: ":8700"}, "without a token"},
		"IPv6, all":                   {Config{Listen: "[::]:8700"}, "without a token"},
		"a name":                      {Config{Listen: "service.hospital.example:8700"}, "without a token"},
		"all interfaces with a token": {Config{Listen: "0.0.0.0:8700", Token: long}, ""},
		"short token":                 {Config{Token: "short"}, "shorter than 16"},
		"no port":                     {Config{Listen: "127.0.0.1"}, "host:port"},
		"rung 7":                      {Config{Rung: 7}, "rung 7"},
		"rung 6 without a folder":     {Config{Rung: 6}, "--target-folder"},
		"a folder on another rung":    {Config{Rung: 4, Folder: "out"}, "--target-folder"},
		"an audience of its own":      {Config{Serves: "everybody"}, "patients or test"},
		"a policy of its own":         {Config{Patient: "guess"}, "must-exist"},
		"two kinds of credentials":    {Config{TargetToken: "t", TargetUser: "u", TargetPassword: "p"}, "one kind"},
		"user without password":       {Config{TargetUser: "u"}, "both"},
		"no URL":                      {Config{Target: "fhir.hospital.example"}, "not a URL"},
		"file URL":                    {Config{Target: "file:///etc/passwd"}, "not a URL"},
		"credentials in URL":          {Config{Target: "https://u:p@fhir.hospital.example/r4"}, "holds credentials"},
		"token over http":             {Config{Target: "http://fhir.hospital.example/r4", TargetToken: long}, "unencrypted"},
		"token over http on loopback": {Config{Target: "http://127.0.0.1:8080/fhir", TargetToken: long}, ""},
		"token over https":            {Config{Target: "https://fhir.hospital.example/r4", TargetToken: long}, ""},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			config := c.config
			err := config.complete()
			if c.want == "" {
				require.NoError(t, err)
				return
			}
			require.ErrorContains(t, err, c.want)
			require.NotContains(t, err.Error(), "u:p@", "the message quotes credentials")
		})
	}
}

func TestConfigFillsTheDataFolder(t *testing.T) {
	t.Parallel()
	c := Config{Data: "/data"}
	require.NoError(t, c.complete())
	require.Equal(t, "/data/enbloc.db", c.Store)
	require.Equal(t, "/data/identity.key", c.KeyFile)
	require.Equal(t, DefaultListen, c.Listen)
}

func TestTargetsAreNamedByTheirAddress(t *testing.T) {
	t.Parallel()
	require.Equal(t, "fhir.hospital.example-8443-r4", TargetName("https://fhir.hospital.example:8443/r4/"))
	require.NotEqual(t, TargetName("https://a.example/r4"), TargetName("https://b.example/r4"))
	long := "https://fhir.hospital.example/" + strings.Repeat("a-long-path/", 20)
	require.LessOrEqual(t, len(TargetName(long)), 64)
	require.NotEqual(t, TargetName(long+"x"), TargetName(long+"y"))
	for _, address := range []string{"http://[::1]:8080/fhir", long} {
		require.Regexp(t, targetNames, TargetName(address))
	}
}
