package cli_test

import (
	"bytes"
	"context"
	"encoding/json"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"enbloc/cmd/enbloc/internal/cli"
	"enbloc/server/preflight"
)

// spoken collects what a running command prints.
type spoken struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (s *spoken) Write(p []byte) (int, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.b.Write(p)
}

func (s *spoken) String() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.b.String()
}

var receiverBase = regexp.MustCompile(`http://127\.0\.0\.1:\d+/fhir`)

func TestPracticeGoesWrongOnPurposeAndSaysSo(t *testing.T) {
	t.Parallel()
	ctx, cancel := context.WithCancel(t.Context())
	var out, errs spoken
	ended := make(chan int, 1)
	go func() {
		ended <- cli.Run(ctx, []string{"practice", "--listen", "127.0.0.1:0", "--behave", "own-ids", "--lacks", "transaction",
			"--seed", "7", "--fault", "500=1"}, cli.Streams{Out: &out, Err: &errs})
	}()
	require.Eventually(t, func() bool { return strings.Contains(out.String(), "Ctrl-C") }, 20*time.Second, 5*time.Millisecond, errs.String())
	require.Contains(t, out.String(), "Without transaction")
	require.Contains(t, out.String(), "seed 7: 500=1")
	res, err := http.Get(receiverBase.FindString(out.String()) + "/metadata")
	require.NoError(t, err)
	defer res.Body.Close()
	require.Equal(t, http.StatusInternalServerError, res.StatusCode)
	require.Contains(t, res.Header.Get("X-Practice-Receiver"), "practice only")
	require.Contains(t, res.Header.Get("X-Practice-Receiver"), "fault on purpose: 500")
	cancel()
	require.Equal(t, cli.Good, <-ended, errs.String())
}

// A preflight of the receiver as it comes leaves nothing behind; of one that takes
// no DELETE it lists what stands there.
func TestAPreflightOfTheReceiverCleansUp(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		args []string
		left bool
	}{{nil, false}, {[]string{"--lacks", "delete"}, true}} {
		ctx, cancel := context.WithCancel(t.Context())
		var out, errs spoken
		ended := make(chan int, 1)
		go func() {
			ended <- cli.Run(ctx, append([]string{"practice", "--listen", "127.0.0.1:0"}, c.args...), cli.Streams{Out: &out, Err: &errs})
		}()
		require.Eventually(t, func() bool { return strings.Contains(out.String(), "Ctrl-C") }, 20*time.Second, 5*time.Millisecond, errs.String())
		file := filepath.Join(t.TempDir(), "p.json")
		got := run(t, "", "preflight", receiverBase.FindString(out.String()), "--json", file, "--cases", "1")
		require.Equal(t, cli.Good, got.code, got.err)
		raw, err := os.ReadFile(file)
		require.NoError(t, err)
		var p preflight.Report
		require.NoError(t, json.Unmarshal(raw, &p))
		require.Equal(t, c.left, len(p.Leftovers) > 0)
		cancel()
		require.Equal(t, cli.Good, <-ended, errs.String())
	}
}

func TestPracticeRefusesWhatItCannotPlay(t *testing.T) {
	t.Parallel()
	for _, args := range [][]string{
		{"--behave", "nobody"}, {"--lacks", "humour"}, {"--fault", "500"}, {"--fault", "500=2"}, {"--fault", "any=x"},
		{"--fault", "500=0.6", "--fault", "401=0.6"},
	} {
		var errs bytes.Buffer
		code := cli.Run(t.Context(), append([]string{"practice", "--listen", "127.0.0.1:0"}, args...), cli.Streams{Out: &bytes.Buffer{}, Err: &errs})
		require.Equal(t, cli.Usage, code, "%v", args)
		require.NotEmpty(t, errs.String())
	}
}
