//go:build peers

package delivery_test

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/server/store"
)

// ownPostgres starts a Postgres that this test alone may stop; a start on the
// same port later goes on with the same data.
func ownPostgres(t *testing.T) (dsn string, crash, start func()) {
	t.Helper()
	scripts := filepath.Join("..", "..", "testdata", "peers", "postgres")
	// Postgres runs as a user of its own, who must get through to its folder.
	folder, err := os.MkdirTemp("", "enbloc-postgres-")
	require.NoError(t, err)
	require.NoError(t, os.Chmod(folder, 0o711)) //nolint:gosec // passing through only
	run := func(script string, args ...string) string {
		command := exec.CommandContext(context.WithoutCancel(t.Context()), filepath.Join(scripts, script), args...)
		var said bytes.Buffer
		command.Stderr = &said
		out, err := command.Output()
		require.NoError(t, err, said.String())
		return string(out)
	}
	data := filepath.Join(folder, "pg")
	port := "0"
	start = func() {
		words := strings.Fields(run("start.sh", data, port))
		require.NotEmpty(t, words)
		dsn = words[0]
		_, after, _ := strings.Cut(dsn, "127.0.0.1:")
		port, _, _ = strings.Cut(after, "/")
	}
	start()
	t.Cleanup(func() {
		run("stop.sh", data, "--remove")
		require.NoError(t, os.RemoveAll(folder))
	})
	return dsn, func() { run("stop.sh", data, "--kill") }, start
}

// Postgres crashes and comes back twice while cases are accepted and delivered:
// what was committed is delivered once, in order.
func TestPostgresRestartedUnderLoad(t *testing.T) {
	t.Parallel()
	dsn, crash, start := ownPostgres(t)
	p := newPlant(t, dsn, hasty)
	p.start()
	var names []string
	accept := func(from, to int) {
		for n := from; n < to; n++ {
			names = append(names, fmt.Sprintf("restart-%d", n))
			p.accept(states(names[n], n+1)...)
		}
	}
	for round := range 2 {
		accept(12*round, 12*(round+1))
		p.until(states(names[12*round], 12*round+1)[0], store.Delivered)
		crash()
		start()
	}
	accept(24, 30)
	p.settled()
	p.requireWhole(names...)
	for _, name := range names {
		for _, d := range p.rows(key("c", name)) {
			require.Equal(t, store.Delivered, d.State, d.Explanation)
		}
	}
}
