package service

import (
	"bytes"
	"context"
	"encoding/json"
	"encoding/pem"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/stretchr/testify/require"

	"enbloc/server/delivery"
	"enbloc/server/practice"
	"enbloc/server/preflight"
	"enbloc/server/store"
)

// TestTheTargetIsWatchedWhileTheServiceRuns: the first check is shown, a change
// raises the alarm, and the next start writes as before: only a person changes it.
func TestTheTargetIsWatchedWhileTheServiceRuns(t *testing.T) {
	t.Parallel()
	receiver := practice.New("/fhir")
	receiver.Shape(practice.Shape{Deletes: true, NoTransaction: true})
	web := httptest.NewServer(receiver)
	t.Cleanup(web.Close)
	config := Config{Listen: "127.0.0.1:0", Data: t.TempDir(), Target: web.URL + "/fhir", TargetName: "hospital", PreflightEvery: time.Hour, Grace: 5 * time.Second}

	running := func(then func(address string)) {
		program, err := New(context.Background(), config, "test", slog.New(slog.DiscardHandler))
		require.NoError(t, err)
		ctx, cancel := context.WithCancel(context.Background())
		ended := make(chan error, 1)
		ready := make(chan string, 1)
		go func() { ended <- program.Run(ctx, func(a string) { ready <- a }) }()
		then("http://" + <-ready)
		cancel()
		require.NoError(t, <-ended)
	}
	targets := func(address string) (rung int, found map[string]any) {
		var body struct {
			Targets []struct {
				Name, Serves, Circuit string
				Rung                  struct{ Number int }
				Preflight             map[string]any
			}
		}
		require.NoError(t, json.Unmarshal([]byte(get(t, address+"/targets")), &body))
		require.Len(t, body.Targets, 1)
		require.Equal(t, [3]string{"hospital", "test", "closed"}, [3]string{body.Targets[0].Name, body.Targets[0].Serves, body.Targets[0].Circuit})
		return body.Targets[0].Rung.Number, body.Targets[0].Preflight
	}
	running(func(address string) {
		require.Eventually(t, func() bool { _, p := targets(address); return p != nil }, 20*time.Second, 10*time.Millisecond)
		rung, p := targets(address)
		require.Equal(t, delivery.RungConditionalCreate, rung, "a running service does not change how it writes")
		require.Equal(t, float64(delivery.RungSingle), p["rung"])
		require.Equal(t, false, p["drifted"])
		require.Contains(t, get(t, address+"/metrics"), `enbloc_preflight_result{target="hospital",what="rung"} 4`)
		require.Contains(t, get(t, address+"/health/ready"), `"circuits":{"closed":1,"half-open":0,"open":0}`)
	})
	receiver.Shape(practice.Shape{Deletes: true, NoTransaction: true, NoConditionalCreate: true})
	running(func(address string) {
		rung, _ := targets(address)
		require.Equal(t, delivery.RungConditionalCreate, rung, "nor does the next start")
		require.Eventually(t, func() bool { _, p := targets(address); return p["drifted"] == true }, 20*time.Second, 10*time.Millisecond)
		require.Contains(t, get(t, address+"/metrics"), `enbloc_preflight_result{target="hospital",what="drift"} 1`)
	})
	require.Empty(t, receiver.Resources("Observation"), "the canaries are gone")
}

func get(t testing.TB, url string) string {
	t.Helper()
	res, err := http.Get(url) //nolint:gosec // loopback
	require.NoError(t, err)
	defer res.Body.Close() //nolint:errcheck // read only
	raw, err := io.ReadAll(res.Body)
	require.NoError(t, err)
	return string(raw)
}

func TestATargetServesPatientsUnlessItSaysPractice(t *testing.T) {
	t.Parallel()
	label := httptest.NewServer(practice.New("/fhir"))
	plain := httptest.NewServer(http.NotFoundHandler())
	t.Cleanup(label.Close)
	t.Cleanup(plain.Close)
	for address, want := range map[string]delivery.Audience{
		label.URL + "/fhir": delivery.ForTests, plain.URL + "/fhir": delivery.ForPatients, "http://127.0.0.1:1/fhir": delivery.ForPatients,
	} {
		config := Config{Target: address}
		got, err := config.DeliveryTarget(context.Background(), "test")
		require.NoError(t, err)
		require.Equal(t, want, got.Serves, address)
		config.Serves = "test"
		got, err = config.DeliveryTarget(context.Background(), "test")
		require.NoError(t, err)
		require.Equal(t, delivery.ForTests, got.Serves, "what was said wins")
	}
}

func TestTheRungIsThatWhichWasKept(t *testing.T) {
	t.Parallel()
	st, err := store.Open(context.Background(), filepath.Join(t.TempDir(), "enbloc.db"))
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, st.Close()) })
	target := delivery.Target{Name: "hospital"}
	got, err := climb(context.Background(), st, target)
	require.NoError(t, err)
	require.Zero(t, got.Rung, "never checked")
	p := preflight.Report{Name: "hospital", Rung: delivery.Rungs()[3], FirstWrite: delivery.AfterSearch, LooksUp: true, Usable: true, Started: time.Now()}
	_, err = KeepPreflight(context.Background(), st, p)
	require.NoError(t, err)
	got, err = climb(context.Background(), st, target)
	require.NoError(t, err)
	require.Equal(t, delivery.RungSingle, got.Rung)
	require.Equal(t, delivery.AfterSearch, got.FirstWrite)
	require.True(t, got.LooksUp)
	target.Rung = delivery.RungClientIDs
	got, err = climb(context.Background(), st, target)
	require.NoError(t, err)
	require.Equal(t, delivery.RungClientIDs, got.Rung, "what was said wins")

	p.Rung = delivery.Rungs()[4]
	_, err = KeepPreflight(context.Background(), st, p)
	require.NoError(t, err)
	got, err = climb(context.Background(), st, delivery.Target{Name: "hospital"})
	require.NoError(t, err)
	require.Equal(t, delivery.RungDocument, got.Rung)
	gate := func(context.Context, string, int) (delivery.Passage, error) { return delivery.Pass, nil }
	got, err = climb(context.Background(), st, delivery.Target{Name: "hospital", Gate: gate})
	require.NoError(t, err)
	require.Zero(t, got.Rung, "what a registry has can be withdrawn, a document cannot")
}

// A former version kept reports by which nothing can be delivered, too.
func TestAnUnusableReportInTheStoreSaysNothing(t *testing.T) {
	t.Parallel()
	st, err := store.Open(context.Background(), filepath.Join(t.TempDir(), "enbloc.db"))
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, st.Close()) })
	row, err := pack(preflight.Report{Name: "hospital", Rung: delivery.Rungs()[5], LooksUp: true, Started: time.Now()})
	require.NoError(t, err)
	require.NoError(t, st.InTx(context.Background(), func(tx *store.Tx) error { return tx.PutPreflight(context.Background(), row) }))
	got, err := climb(context.Background(), st, delivery.Target{Name: "hospital"})
	require.NoError(t, err)
	require.Equal(t, delivery.Target{Name: "hospital"}, got)
}

func TestAWatchNeverLogsWhatItRead(t *testing.T) {
	t.Parallel()
	receiver := practice.New("/fhir")
	require.NoError(t, receiver.SeedHospital(3))
	web := httptest.NewServer(receiver)
	t.Cleanup(web.Close)
	st, err := store.Open(context.Background(), filepath.Join(t.TempDir(), "enbloc.db"))
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, st.Close()) })
	config := Config{Target: web.URL + "/fhir"}
	target, err := config.DeliveryTarget(context.Background(), "test")
	require.NoError(t, err)
	var log bytes.Buffer
	w := newWatches(st, slog.New(slog.NewTextHandler(&log, nil)), []delivery.Target{target}, time.Hour, prometheus.NewRegistry())[0]
	require.NoError(t, w.check(context.Background()))
	require.Contains(t, log.String(), "checked target")
	require.NotContains(t, log.String(), "HTEST-PAT")
	kept, err := st.Reading(context.Background(), target.Name, store.LastReading)
	require.NoError(t, err)
	require.False(t, strings.Contains(string(kept.Document), "HTEST-PAT"))
}

// A watch believes the certificates that delivery believes.
func TestAWatchBelievesTheHospitalsCertificates(t *testing.T) {
	t.Parallel()
	web := httptest.NewTLSServer(practice.New("/fhir"))
	t.Cleanup(web.Close)
	ca := filepath.Join(t.TempDir(), "ca.pem")
	require.NoError(t, os.WriteFile(ca, pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: web.Certificate().Raw}), 0o600))
	st, err := store.Open(context.Background(), filepath.Join(t.TempDir(), "enbloc.db"))
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, st.Close()) })
	config := Config{Target: web.URL + "/fhir", CAFile: ca}
	target, err := config.DeliveryTarget(context.Background(), "test")
	require.NoError(t, err)
	w := newWatches(st, slog.New(slog.DiscardHandler), []delivery.Target{target}, time.Hour, prometheus.NewRegistry())[0]
	require.NoError(t, w.check(context.Background()))
	kept, err := st.Reading(context.Background(), target.Name, store.LastReading)
	require.NoError(t, err)
	require.True(t, kept.Usable, string(kept.Document))
}
