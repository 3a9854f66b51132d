package main_test

import (
	"bufio"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"github.com/stretchr/testify/require"
)

// build makes the program as the README does.
func build(t *testing.T) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "enbloc")
	out, err := exec.CommandContext(t.Context(), "go", "build", "-o", path, "enbloc/cmd/enbloc").CombinedOutput()
	require.NoError(t, err, string(out))
	return path
}

func TestTheBinaryExitsWithItsCodeAndStopsOnSIGTERM(t *testing.T) {
	t.Parallel()
	path := build(t)
	var failed *exec.ExitError
	require.ErrorAs(t, exec.CommandContext(t.Context(), path, "check", "/nowhere").Run(), &failed)
	require.Equal(t, 2, failed.ExitCode())

	serve := exec.CommandContext(t.Context(), path, "serve", "--listen", "127.0.0.1:0", "--data", t.TempDir())
	stderr, err := serve.StderrPipe()
	require.NoError(t, err)
	require.NoError(t, serve.Start())
	var said strings.Builder
	for lines := bufio.NewScanner(stderr); lines.Scan(); {
		said.WriteString(lines.Text() + "\n")
		if strings.Contains(lines.Text(), "msg=serving") {
			require.NoError(t, serve.Process.Signal(syscall.SIGTERM))
		}
	}
	require.NoError(t, serve.Wait(), said.String())
	require.Contains(t, said.String(), "msg=stopped")
}
