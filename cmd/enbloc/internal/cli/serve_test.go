package cli_test

import (
	"bytes"
	"context"
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
)

// log collects standard error and tells when an address was taken.
type log struct {
	mu      sync.Mutex
	text    bytes.Buffer
	address chan string
}

var addressIn = regexp.MustCompile(`msg=serving address=(\S+)`)

func (l *log) Write(b []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.text.Write(b)
	if m := addressIn.FindSubmatch(b); m != nil {
		l.address <- string(m[1])
	}
	return len(b), nil
}

func (l *log) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.text.String()
}

// serve starts the program and returns its address, its log, and a stop that
// returns the exit code.
func serve(t *testing.T, env map[string]string, args ...string) (string, *log, func() int) {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	l := &log{address: make(chan string, 1)}
	code := make(chan int, 1)
	go func() {
		code <- cli.Run(ctx, append([]string{"serve", "--listen", "127.0.0.1:0"}, args...), cli.Streams{
			Out: l, Err: l, Env: func(name string) string { return env[name] }})
	}()
	stop := sync.OnceValue(func() int { cancel(); return <-code })
	t.Cleanup(func() { stop() })
	select {
	case address := <-l.address:
		return address, l, stop
	case got := <-code:
		code <- got
		require.FailNow(t, "the service ended", "code %d: %s", got, l)
	case <-time.After(30 * time.Second):
		require.FailNow(t, "the service did not start", "%s", l)
	}
	return "", nil, nil
}

func TestServeAcceptsDeliversAndStopsInGoodOrder(t *testing.T) {
	t.Parallel()
	target, url := receiver(t)
	data := t.TempDir()
	address, l, stop := serve(t, nil, "--data", data, "--target", url)
	require.Equal(t, cli.Good, run(t, "", "health", "--server", address).code)

	res, err := http.Post(address+"/cases", "application/json", strings.NewReader(example(t, bleed, "01-report.json")))
	require.NoError(t, err)
	require.NoError(t, res.Body.Close())
	require.Equal(t, http.StatusAccepted, res.StatusCode)
	require.Eventually(t, func() bool {
		return strings.Contains(run(t, "", "deliveries", "--server", address).out, "delivered")
	}, 30*time.Second, 20*time.Millisecond)
	require.Len(t, target.Resources("DiagnosticReport"), 1)

	r := run(t, "", "deliveries", "--server", address, "--json", "--state", "delivered")
	require.Equal(t, cli.Good, r.code, r.err)
	require.Contains(t, r.out, `"sequence": 1`)
	require.Contains(t, run(t, "", "deliveries", "--server", address, "--state", "dead").out, "No delivery matches.")
	r = run(t, "", "deliveries", "--server", address, "--state", "nonsense")
	require.Equal(t, cli.TargetFailed, r.code)
	require.Contains(t, r.err, "400")
	r = run(t, "", "resend", "nowhere", "--server", address)
	require.Equal(t, cli.TargetFailed, r.code)
	require.Contains(t, r.err, "404")

	require.Equal(t, cli.Good, stop(), l)
	require.NotContains(t, l.String(), "HTEST", "the log names somebody of the report")
	key, err := os.ReadFile(filepath.Join(data, "identity.key"))
	require.NoError(t, err)
	require.NotContains(t, l.String(), string(key[:16]))
}

func TestServeRefusesANewKeyForOldCases(t *testing.T) {
	t.Parallel()
	data := t.TempDir()
	address, _, stop := serve(t, nil, "--data", data)
	res, err := http.Post(address+"/cases", "application/json", strings.NewReader(example(t, bleed, "01-report.json")))
	require.NoError(t, err)
	require.NoError(t, res.Body.Close())
	require.Equal(t, http.StatusAccepted, res.StatusCode)
	require.Equal(t, cli.Good, stop())

	key := filepath.Join(data, "identity.key")
	kept, err := os.ReadFile(key)
	require.NoError(t, err)
	require.NoError(t, os.Remove(key))
	r := run(t, "", "serve", "--listen", "127.0.0.1:0", "--data", data)
	require.Equal(t, cli.Usage, r.code)
	require.Contains(t, r.err, "Restore the file")
	require.NoFileExists(t, key)

	require.NoError(t, os.WriteFile(key, kept, 0o600))
	_, _, stop = serve(t, nil, "--data", data)
	require.Equal(t, cli.Good, stop())
}

func TestServeAsksForItsToken(t *testing.T) {
	t.Parallel()
	const token = "0123456789abcdef0123"
	address, l, stop := serve(t, map[string]string{"ENBLOC_TOKEN": token}, "--data", t.TempDir())
	require.Equal(t, cli.Good, run(t, "", "health", "--server", address).code, "a health check needs no token")
	r := run(t, "", "deliveries", "--server", address)
	require.Equal(t, cli.TargetFailed, r.code)
	require.Contains(t, r.err, "401")
	require.Equal(t, cli.Good, run(t, "", "deliveries", "--server", address, "--token-file", onDisk(t, "token", token+"\n")).code)
	require.Equal(t, cli.Good, stop())
	require.NotContains(t, l.String(), token)
}
