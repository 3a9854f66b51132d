package service

import (
	"context"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"path/filepath"
	"sync/atomic"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/stretchr/testify/require"

	"enbloc/server/delivery"
	"enbloc/server/practice"
	"enbloc/server/preflight"
	"enbloc/server/store"
)

// post is a target under watch: a receiver that can be shaped, and switched off.
type post struct {
	*practice.Receiver
	t        *testing.T
	store    *store.Store
	watch    *watch
	registry *prometheus.Registry
	off      atomic.Bool
}

func newPost(t *testing.T, serves delivery.Audience, shape practice.Shape) *post {
	t.Helper()
	p := &post{Receiver: practice.New("/fhir"), t: t, registry: prometheus.NewRegistry()}
	p.Shape(shape)
	web := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, req *http.Request) {
		if p.off.Load() {
			http.Error(w, "", http.StatusBadGateway)
			return
		}
		p.ServeHTTP(hospital{w}, req)
	}))
	t.Cleanup(web.Close)
	var err error
	p.store, err = store.Open(context.Background(), filepath.Join(t.TempDir(), "enbloc.db"))
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, p.store.Close()) })
	config := Config{Target: web.URL + "/fhir", TargetName: "hospital", Serves: string(serves)}
	target, err := config.DeliveryTarget(context.Background(), "test")
	require.NoError(t, err)
	p.watch = newWatches(p.store, slog.New(slog.DiscardHandler), []delivery.Target{target}, time.Hour, p.registry)[0]
	return p
}

// hospital hides that a receiver is for practice.
type hospital struct{ http.ResponseWriter }

func (h hospital) WriteHeader(status int) {
	h.Header().Del(practice.Header)
	h.ResponseWriter.WriteHeader(status)
}

// keep is what a person does with enbloc preflight --keep.
func (p *post) keep(write bool) error {
	p.t.Helper()
	report, err := preflight.Run(context.Background(), preflight.Options{Client: p.watch.target.Client, Name: "hospital", Write: write, Entries: 64, Bytes: 1 << 20})
	require.NoError(p.t, err)
	require.Equal(p.t, write && report.Usable, report.Proven)
	_, err = KeepPreflight(context.Background(), p.store, report)
	return err
}

// tick lets the watch look once, and returns whether it raises the alarm.
func (p *post) tick() bool {
	p.t.Helper()
	require.NoError(p.t, p.watch.check(context.Background()))
	drift, counted := drifts(p.t, p.registry)["hospital"]
	require.True(p.t, counted, "the watch counts no drift")
	return drift == 1
}

// drifts is what the watches count, by target.
func drifts(t *testing.T, r *prometheus.Registry) map[string]float64 {
	t.Helper()
	families, err := r.Gather()
	require.NoError(t, err)
	all := map[string]float64{}
	for _, f := range families {
		for _, m := range f.GetMetric() {
			label := map[string]string{}
			for _, l := range m.GetLabel() {
				label[l.GetName()] = l.GetValue()
			}
			if label["what"] == "drift" {
				all[label["target"]] = m.GetGauge().GetValue()
			}
		}
	}
	return all
}

// next is by what the next start would write.
func (p *post) next() delivery.Target {
	p.t.Helper()
	t, err := climb(context.Background(), p.store, delivery.Target{Name: "hospital"})
	require.NoError(p.t, err)
	return t
}

// liar says of itself that it takes transactions.
var liar = practice.Shape{NoTransaction: true, NoClientIDs: true, Claims: true, Deletes: true}

// What was proven and kept stays, whatever a watch reads: it only reads, or
// meets a target that is down, or one that answers oddly for an hour.
func TestAWatchNeverChangesHowATargetIsWritten(t *testing.T) {
	t.Parallel()
	for name, serves := range map[string]delivery.Audience{"patients": delivery.ForPatients, "test": delivery.ForTests} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			p := newPost(t, serves, liar)
			require.NoError(t, p.keep(true))
			kept := p.next()
			require.Equal(t, delivery.RungSingle, kept.Rung)
			learned := store.Learned{Target: "hospital", MaxEntries: 40, At: time.Now().UTC().Truncate(time.Microsecond)}
			require.NoError(t, p.store.InTx(context.Background(), func(tx *store.Tx) error { return tx.PutLearned(context.Background(), learned) }))

			still := func(after string) {
				t.Helper()
				p.tick()
				require.Equal(t, kept, p.next(), after)
				l, err := p.store.Learned(context.Background(), "hospital")
				require.NoError(t, err)
				require.Equal(t, learned, l, after)
			}
			still("nothing has changed")
			p.off.Store(true)
			still("the target is down")
			p.off.Store(false)
			p.Shape(practice.Shape{OnlyDocuments: true})
			still("documents only")
			p.Shape(practice.Shape{NoClientIDs: true, NoConditionalCreate: true, ConditionalUpdate: true})
			still("conditional updates only")
		})
	}
}

// Before anybody has kept a report, a watch does not choose the rung either.
func TestAWatchDoesNotChooseTheRung(t *testing.T) {
	t.Parallel()
	p := newPost(t, delivery.ForTests, practice.Shape{OnlyDocuments: true})
	p.tick()
	require.Zero(t, p.next().Rung)
}

// The alarm is about what differs from what was accepted, and stays until that
// is mended or accepted in its turn.
func TestAnAlarmStaysUntilMendedOrAccepted(t *testing.T) {
	t.Parallel()
	sound, changed := practice.Shape{Deletes: true, NoClientIDs: true}, practice.Shape{Deletes: true, NoClientIDs: true, NoTransaction: true}
	for name, kept := range map[string]bool{"kept by a person": true, "never kept": false} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			p := newPost(t, delivery.ForTests, sound)
			if kept {
				require.NoError(t, p.keep(true))
			}
			require.False(t, p.tick())
			require.False(t, p.tick())
			p.Shape(changed)
			for range 3 {
				require.True(t, p.tick())
			}
			p.off.Store(true)
			require.True(t, p.tick(), "down")
			p.off.Store(false)
			require.True(t, p.tick(), "up again, and still changed")
			p.Shape(sound)
			require.False(t, p.tick(), "mended")
			p.Shape(changed)
			require.True(t, p.tick())
			require.NoError(t, p.keep(true))
			require.False(t, p.tick(), "accepted")
			require.Equal(t, delivery.RungSingle, p.next().Rung)
			p.Shape(sound)
			require.True(t, p.tick(), "and changed again")
		})
	}
}

// A first tick that only reads, after a report that was proven, is no change; a
// change in what was read is.
func TestAReadingIsComparedWithWhatWasProven(t *testing.T) {
	t.Parallel()
	p := newPost(t, delivery.ForPatients, liar)
	require.NoError(t, p.keep(true))
	require.False(t, p.tick())
	require.False(t, p.tick())
	honest := liar
	honest.Claims = false
	p.Shape(honest)
	for range 3 {
		require.True(t, p.tick())
	}

	// Who keeps a report that only read accepts what it read, and no more.
	require.NoError(t, p.keep(false))
	require.False(t, p.tick())
	require.Equal(t, delivery.RungSingle, p.next().Rung)
	report, known, err := Kept(context.Background(), p.store, "hospital")
	require.NoError(t, err)
	require.True(t, known)
	require.True(t, report.Proven)
	p.Shape(liar)
	require.True(t, p.tick())
}

// A person who keeps a report that only read has tried nothing either: what was
// learned by writing goes on.
func TestOnlyWritingMakesVoidWhatWasLearned(t *testing.T) {
	t.Parallel()
	p := newPost(t, delivery.ForPatients, liar)
	learn := func() {
		require.NoError(t, p.store.InTx(context.Background(), func(tx *store.Tx) error {
			return tx.PutLearned(context.Background(), store.Learned{Target: "hospital", Rung: 4, Refused: 2, Status: 405, Stepped: time.Now(), At: time.Now()})
		}))
	}
	rung := func() int {
		l, err := p.store.Learned(context.Background(), "hospital")
		require.NoError(t, err)
		return l.Rung
	}
	learn()
	require.NoError(t, p.keep(false))
	require.Equal(t, 4, rung())
	require.Equal(t, delivery.RungConditionalCreate, p.next().Rung, "as it claims; nothing better is known")
	require.NoError(t, p.keep(true))
	require.Zero(t, rung())
	learn()
	require.NoError(t, p.keep(false))
	require.Equal(t, 4, rung())
}

// A report by which nothing can be delivered is never kept.
func TestAnUnusableReportIsNotKept(t *testing.T) {
	t.Parallel()
	p := newPost(t, delivery.ForTests, liar)
	p.off.Store(true)
	require.ErrorContains(t, p.keep(true), "not kept")
	_, known, err := Kept(context.Background(), p.store, "hospital")
	require.NoError(t, err)
	require.False(t, known)
	p.off.Store(false)
	require.NoError(t, p.keep(true))
	p.off.Store(true)
	require.ErrorContains(t, p.keep(true), "not kept")
	require.Equal(t, delivery.RungSingle, p.next().Rung)
}

// A registry is a server like the hospital's, and changes as unasked.
func TestRegistriesAreWatchedToo(t *testing.T) {
	t.Parallel()
	p := newPost(t, delivery.ForPatients, practice.Shape{Deletes: true})
	at := func(name string) delivery.Target {
		target := p.watch.target
		target.Name = name
		return target
	}
	registry := prometheus.NewRegistry()
	all := newWatches(p.store, slog.New(slog.DiscardHandler), []delivery.Target{at("hospital"), {Name: "files", Folder: t.TempDir()}, at("registry-national")}, time.Hour, registry)
	require.Len(t, all, 2, "a folder is not asked")
	for _, w := range all {
		require.NoError(t, w.check(context.Background()))
	}
	p.Shape(practice.Shape{Deletes: true, NoTransaction: true})
	require.NoError(t, all[1].check(context.Background()))
	require.Equal(t, map[string]float64{"hospital": 0, "registry-national": 1}, drifts(t, registry))
}
