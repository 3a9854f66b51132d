package child

import (
	"net/http"
	"net/http/httptest"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestMetricsAreAddedUp(t *testing.T) {
	t.Parallel()
	says := func(text string) *Program {
		server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { _, _ = w.Write([]byte(text)) }))
		t.Cleanup(server.Close)
		return &Program{base: server.URL}
	}
	p := says(`enbloc_delivery_open_rows{state="waiting",target="x"} 3
enbloc_delivery_open_rows{state="retrying",target="x"} 4
enbloc_delivery_rows_total{state="delivered",target="x"} 20
enbloc_delivery_rows_total{state="dead",target="x"} 1
`)
	n, err := p.Open(t.Context())
	require.NoError(t, err)
	require.Equal(t, 7, n)
	n, err = p.Delivered(t.Context())
	require.NoError(t, err)
	require.Equal(t, 20, n)
	_, err = says("").Open(t.Context())
	require.Error(t, err, "that no row is open must be said")
}
