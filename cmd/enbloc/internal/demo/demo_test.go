package demo_test

import (
	"bufio"
	"context"
	"io"
	"net/http"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/require"

	"enbloc/cmd/enbloc/internal/demo"
	"enbloc/cmd/enbloc/internal/layout"
	"enbloc/testdata/cases"
)

func play(t *testing.T, o demo.Options) string {
	t.Helper()
	var out strings.Builder
	o.Page = layout.New(&out, func(string) string { return "" })
	require.NoError(t, demo.Run(t.Context(), o), out.String())
	return out.String()
}

// blocks splits the text at the cases' headings.
func blocks(text string) []string {
	return regexp.MustCompile(`(?m)^Case \d+: `).Split(text, -1)[1:]
}

var deliveredLine = regexp.MustCompile(`state (\d+): (\d+) created, (\d+) updated, (\d+) unchanged`)

func TestDemoDeliversEverythingOnce(t *testing.T) {
	t.Parallel()
	text := play(t, demo.Options{})
	all := blocks(text)
	require.GreaterOrEqual(t, len(all), 8)
	for _, organ := range []string{"stomach (", "squamous oesophagus", "Barrett oesophagus", "duodenum (", "colon (", "rectum ("} {
		require.Contains(t, text, organ)
	}
	for _, block := range all {
		lines := deliveredLine.FindAllStringSubmatch(block, -1)
		require.NotEmpty(t, lines, block)
		created, err := strconv.Atoi(lines[0][2])
		require.NoError(t, err)
		require.Greater(t, created, 10, "the first state of a case is made of many resources")
		require.Contains(t, block, "equal to what was sent")
	}
	require.NotContains(t, text, "FAILED")
	require.NotContains(t, text, "REFUSED")
	require.Contains(t, text, "Nothing doubled, nothing changed.")
	require.Contains(t, text, "written at the receiver: 0.")
	for _, line := range strings.Split(text, "\n") {
		require.LessOrEqual(t, utf8.RuneCountInString(line), 100, line)
	}
}

// reports counts the DiagnosticReports in the table of the second sending.
var reportsLine = regexp.MustCompile(`(?m)^DiagnosticReport +(\d+) +(\d+)$`)

func TestDemoPlaysEveryExample(t *testing.T) {
	t.Parallel()
	if testing.Short() {
		t.Skip("the default demo runs the same code")
	}
	text := play(t, demo.Options{All: true})
	require.Len(t, blocks(text), len(cases.All()))
	counts := reportsLine.FindStringSubmatch(text)
	require.NotNil(t, counts, text)
	require.Equal(t, counts[1], counts[2])
	n, err := strconv.Atoi(counts[1])
	require.NoError(t, err)
	require.GreaterOrEqual(t, n, len(cases.All()), "each case has its report")
}

// With --stay the addresses that are printed can be opened: each case answers a
// browser with its report in words, and all ends when it is asked to.
func TestDemoStaysUntilAskedToStop(t *testing.T) {
	t.Parallel()
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	out, in := io.Pipe()
	ended := make(chan error, 1)
	go func() {
		err := demo.Run(ctx, demo.Options{Page: layout.New(in, func(string) string { return "" }), Stay: true})
		in.CloseWithError(io.EOF)
		ended <- err
	}()
	var pages []string
	receiver := ""
	lines := bufio.NewScanner(out)
	for open := false; receiver == "" && lines.Scan(); {
		fields := strings.Fields(lines.Text())
		open = open || strings.HasPrefix(lines.Text(), "Open until")
		switch {
		case !open || len(fields) < 2:
		case fields[0] == "Case":
			pages = append(pages, fields[2])
		case fields[0] == "Receiver":
			receiver = strings.TrimSuffix(fields[1], ",")
		}
	}
	require.GreaterOrEqual(t, len(pages), 8)
	for _, address := range pages {
		require.Contains(t, fetch(t, address), "Endoscopic resection report", address)
	}
	require.Contains(t, fetch(t, receiver), "DiagnosticReport")
	cancel()
	go func() { _, _ = io.Copy(io.Discard, out) }()
	require.NoError(t, <-ended)
	_, err := http.Get(pages[0])
	require.Error(t, err, "nothing is left open")
}

// fetch asks as a browser does.
func fetch(t *testing.T, address string) string {
	t.Helper()
	request, err := http.NewRequestWithContext(t.Context(), http.MethodGet, address, nil)
	require.NoError(t, err)
	request.Header.Set("Accept", "text/html,*/*;q=0.8")
	answer, err := http.DefaultClient.Do(request)
	require.NoError(t, err)
	defer answer.Body.Close()
	require.Equal(t, http.StatusOK, answer.StatusCode, address)
	body, err := io.ReadAll(answer.Body)
	require.NoError(t, err)
	return string(body)
}

func TestDemoStopsWhenAskedTo(t *testing.T) {
	t.Parallel()
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	var out strings.Builder
	err := demo.Run(ctx, demo.Options{Page: layout.New(&out, func(string) string { return "" })})
	require.ErrorIs(t, err, context.Canceled)
}
