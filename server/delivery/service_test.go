package delivery_test

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"net/http/httptest"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"enbloc/mapping/graph"
	"enbloc/server/delivery"
	"enbloc/server/fault"
	"enbloc/server/practice"
	"enbloc/server/store"
)

// plant is a service with its store, its receiver, and the states of its cases.
type plant struct {
	*bench
	t      testing.TB
	dsn    string
	store  *store.Store
	svc    *delivery.Service
	mu     *sync.Mutex
	scenes map[string]scene
	change func(*delivery.Options)
}

func newPlant(t testing.TB, dsn string, change func(*delivery.Options)) *plant {
	t.Helper()
	return plantAt(t, newBench(t), dsn, change)
}

// plantAt is a plant whose receiver is there already.
func plantAt(t testing.TB, b *bench, dsn string, change func(*delivery.Options)) *plant {
	t.Helper()
	p := &plant{bench: b, t: t, dsn: dsn, mu: &sync.Mutex{}, scenes: map[string]scene{}, change: change}
	if dsn == "" {
		p.dsn = filepath.Join(t.TempDir(), "enbloc.db")
	}
	p.open()
	t.Cleanup(func() { p.close() })
	return p
}

func (p *plant) open() {
	var err error
	p.store, err = store.Open(context.Background(), p.dsn)
	require.NoError(p.t, err)
	o := delivery.Options{Store: p.store, Targets: []delivery.Target{p.target(p.t)}, Render: p.render, Void: voided,
		Backoff: func(int) time.Duration { return 20 * time.Millisecond }}
	if p.change != nil {
		p.change(&o)
	}
	p.svc, err = delivery.New(context.Background(), o)
	require.NoError(p.t, err)
}

func (p *plant) close() {
	ctx, cancel := context.WithTimeout(context.Background(), 20*time.Second)
	defer cancel()
	require.NoError(p.t, p.svc.Stop(ctx))
	require.NoError(p.t, p.store.Close())
}

func (p *plant) render(_ context.Context, caseKey string, sequence int) (graph.Graph, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	s, ok := p.scenes[fmt.Sprintf("%s/%d", caseKey, sequence)]
	if !ok {
		return graph.Graph{}, fault.New(fault.Invalid, "no such state")
	}
	return s.graph(), nil
}

// accept commits states as intake would: the outbox rows in one transaction.
func (p *plant) accept(scenes ...scene) {
	p.t.Helper()
	for _, s := range scenes {
		p.mu.Lock()
		p.scenes[fmt.Sprintf("%s/%d", s.caseKey(), s.sequence)] = s
		p.mu.Unlock()
		require.NoError(p.t, p.store.InTx(context.Background(), func(tx *store.Tx) error {
			return p.svc.EnqueueTx(context.Background(), tx, s.caseKey(), s.sequence)
		}))
	}
}

func (p *plant) start() { require.NoError(p.t, p.svc.Start(context.Background())) }

func (p *plant) rows(caseKey string) map[int]store.Delivery { return p.rowsOf("", caseKey) }

// until waits for a row to reach a state.
func (p *plant) until(s scene, want store.DeliveryState) store.Delivery {
	p.t.Helper()
	var d store.Delivery
	require.Eventually(p.t, func() bool {
		d = p.rows(s.caseKey())[s.sequence]
		return d.State == want
	}, time.Minute, 5*time.Millisecond, "row never became %s", want)
	return d
}

// settled waits until no row is open.
func (p *plant) settled() {
	p.t.Helper()
	if !assert.Eventually(p.t, func() bool {
		counts, err := p.store.OpenCounts(context.Background())
		return err == nil && len(counts) == 0
	}, 3*time.Minute, 10*time.Millisecond) {
		require.Fail(p.t, "rows stay open", p.stillOpen())
	}
}

// stillOpen says where the rows that stay open and their jobs stand.
func (p *plant) stillOpen() string {
	var all strings.Builder
	fmt.Fprintln(&all, "now", time.Now().UTC())
	rows, err := p.store.DB().Query(`SELECT d.case_key, d.sequence, d.state, d.attempts, d.reason, d.next_attempt, COALESCE(d.claimed_until, 0), j.state, CAST(j.scheduled_at AS TEXT)
		FROM deliveries d LEFT JOIN river_job j ON j.id = d.job_id WHERE d.state NOT IN ('delivered', 'superseded')`)
	if err != nil {
		return err.Error()
	}
	defer rows.Close()
	for rows.Next() {
		var key, state, reason, job, at sql.NullString
		var sequence, attempts int
		var next, until int64
		if err := rows.Scan(&key, &sequence, &state, &attempts, &reason, &next, &until, &job, &at); err != nil {
			return err.Error()
		}
		fmt.Fprintln(&all, key.String, sequence, state.String, attempts, reason.String, "next", time.UnixMicro(next).UTC(), "claimed until", time.UnixMicro(until).UTC(), "job", job.String, at.String)
	}
	return all.String()
}

// states are the three states of a case.
func states(name string, patient int) []scene {
	pat := fmt.Sprintf("HTEST-PAT-%04d", patient)
	return []scene{
		{name: name, sequence: 1, patient: pat},
		{name: name, sequence: 2, patient: pat, histology: true, status: "amended"},
		{name: name, sequence: 3, patient: pat, histology: true, event: true, status: "corrected"},
	}
}

// requireWhole checks that each case stands once and at its last state, and that
// its versions came in order.
func (p *plant) requireWhole(names ...string) {
	p.t.Helper()
	standing := p.byKey(p.t)
	require.Len(p.t, standing, 6*len(names)+1)
	for _, name := range names {
		g := states(name, 1)[2].graph()
		for _, r := range g.Resources {
			require.Contains(p.t, standing, r.Key)
			if r.Type == "DiagnosticReport" {
				require.Equal(p.t, "corrected", standing[r.Key]["status"])
				require.Equal(p.t, "3", standing[r.Key]["meta"].(map[string]any)["versionId"], "one version a state, none skipped or doubled")
			}
		}
	}
}

// requireDelivered checks that every state of the cases arrived, itself or in a
// later one.
func (p *plant) requireDelivered(names ...string) {
	p.t.Helper()
	for _, name := range names {
		for _, d := range p.rows(key("c", name)) {
			require.Contains(p.t, []store.DeliveryState{store.Delivered, store.Superseded}, d.State, d.Explanation)
		}
	}
}

// hasty lets a dead process's rows go soon.
func hasty(o *delivery.Options) {
	o.AttemptTimeout, o.Margin, o.Sweep = 2*time.Second, time.Second, 200*time.Millisecond
}

func engines(t *testing.T, run func(t *testing.T, dsn string)) {
	t.Run("sqlite", func(t *testing.T) { t.Parallel(); run(t, "") })
	t.Run("postgres", func(t *testing.T) { t.Parallel(); run(t, postgresURL(t)) })
}

func TestEveryStateIsDeliveredInOrderThroughFaults(t *testing.T) {
	t.Parallel()
	engines(t, func(t *testing.T, dsn string) {
		p := newPlant(t, dsn, nil)
		any := func(*http.Request) bool { return true }
		// Every fifth of the first 100 requests goes wrong in one of five ways.
		ways := []func(http.Handler, http.ResponseWriter, *http.Request){resetBefore, resetAfter, status(500), status(429, "Retry-After", "0"), after(halfAnAnswer)}
		for i := range 100 {
			if i%5 == 0 {
				p.faults.plan(any, ways[i/5%len(ways)])
				continue
			}
			p.faults.plan(any, func(next http.Handler, w http.ResponseWriter, r *http.Request) { next.ServeHTTP(w, r) })
		}
		var names []string
		for n := range 12 {
			name := fmt.Sprintf("case-%d", n)
			names = append(names, name)
			p.accept(states(name, n+1)...)
		}
		p.start()
		p.settled()
		p.requireWhole(names...)
		for _, name := range names {
			for _, d := range p.rows(key("c", name)) {
				require.Equal(t, store.Delivered, d.State, d.Explanation)
			}
		}
	})
}

func TestAKilledServiceGoesOnWhereItStopped(t *testing.T) {
	t.Parallel()
	engines(t, func(t *testing.T, dsn string) {
		p := newPlant(t, dsn, hasty)
		// The receiver has stored the case, and before it can answer the service dies.
		reached, let := make(chan struct{}), make(chan struct{})
		p.faults.plan(transactions, func(next http.Handler, w http.ResponseWriter, r *http.Request) { next.ServeHTTP(w, r) })
		p.faults.plan(transactions, func(next http.Handler, w http.ResponseWriter, r *http.Request) {
			next.ServeHTTP(httptest.NewRecorder(), r)
			close(reached)
			<-let
		})
		all := states("killed", 1)
		p.accept(all...)
		p.start()
		<-reached
		// Nothing is stopped: the database is taken away under the worker, as a
		// kill would, so that it can write no outcome down.
		require.NoError(t, p.store.Close())
		close(let)
		dead := p.svc
		p.open()
		p.start()
		began := time.Now()
		p.until(all[2], store.Delivered)
		t.Log("went on after", time.Since(began))
		p.requireWhole("killed")
		require.Equal(t, 5+2+2, p.writes(), "the first state, then one new and one changed, twice")
		first := p.rows(all[0].caseKey())[1]
		require.Equal(t, store.Delivered, first.State)
		require.Equal(t, 2, first.Attempts)
		ctx, cancel := context.WithCancel(context.Background())
		cancel()
		_ = dead.Stop(ctx) // its database is gone; it only has to end
	})
}

func TestAMissingPatientParksTheCaseUntilHeComes(t *testing.T) {
	t.Parallel()
	p := newPlant(t, "", nil)
	s := scene{name: "parked", sequence: 1, patient: "HTEST-PAT-LATE"}
	p.accept(s)
	p.start()
	d := p.until(s, store.ParkedDelivery)
	require.Equal(t, "waiting-for-patient", d.Reason)
	_, err := p.Seed("Patient", "https://enbloc.example/fhir/sid/patient", "HTEST-PAT-LATE", nil)
	require.NoError(t, err)
	p.until(s, store.Delivered)
	attempts, err := p.store.Attempts(context.Background(), d.ID)
	require.NoError(t, err)
	require.Equal(t, "park", attempts[0].Class)
	require.Equal(t, "done", attempts[len(attempts)-1].Class)
	require.NotEmpty(t, attempts[len(attempts)-1].RequestID)
}

func TestARefusedStateIsMendedByTheNext(t *testing.T) {
	t.Parallel()
	p := newPlant(t, "", nil)
	wrong, right := scene{name: "mended", sequence: 1, status: "finished"}, scene{name: "mended", sequence: 2}
	p.accept(wrong)
	p.start()
	d := p.until(wrong, store.Dead)
	require.Equal(t, "refused", d.Reason)
	require.Contains(t, d.Explanation, "report/endoscopy: DiagnosticReport.status")
	p.accept(right)
	p.until(right, store.Delivered)
	p.until(wrong, store.Superseded)
}

func TestAConflictHoldsTheCaseUntilSomebodyDecides(t *testing.T) {
	t.Parallel()
	p := newPlant(t, "", nil)
	all := states("conflict", 1)
	p.accept(all[0])
	p.start()
	p.until(all[0], store.Delivered)
	p.put(t, p.Resources("DiagnosticReport")[0], func(r map[string]any) { r["conclusion"] = "HTEST by another hand" })
	p.accept(all[1], all[2])
	d := p.until(all[1], store.InConflict)
	require.Equal(t, "changed-by-others", d.Reason)
	require.Contains(t, string(d.Details), `"path":"DiagnosticReport.conclusion"`)
	require.NotContains(t, string(d.Details), "another hand")
	require.Equal(t, store.Waiting, p.rows(all[2].caseKey())[3].State)

	// The other hand takes its change back, and the row is sent again.
	p.put(t, p.Resources("DiagnosticReport")[0], func(r map[string]any) { delete(r, "conclusion") })
	require.NoError(t, p.svc.Resend(context.Background(), d.ID))
	p.until(all[2], store.Delivered)
	require.True(t, fault.Is(p.svc.Resend(context.Background(), d.ID), fault.Conflict), "a delivered row is not sent again")
	require.True(t, fault.Is(p.svc.Skip(context.Background(), "none"), fault.Conflict))
}

func TestASkippedConflictLetsTheNextStateGo(t *testing.T) {
	t.Parallel()
	p := newPlant(t, "", nil)
	bad, next := scene{name: "skip", sequence: 1, patient: "HTEST-PAT-0001"}, scene{name: "skip", sequence: 2, patient: "HTEST-PAT-0002"}
	_, err := p.Seed("Patient", "https://enbloc.example/fhir/sid/patient", "HTEST-PAT-0001", nil)
	require.NoError(t, err)
	p.accept(bad, next)
	p.start()
	d := p.until(bad, store.InConflict)
	require.Equal(t, "patient-ambiguous", d.Reason)
	require.NoError(t, p.svc.Skip(context.Background(), d.ID))
	p.until(next, store.Delivered)
	require.Equal(t, "skipped", p.rows(bad.caseKey())[1].Reason)
}

func TestTheBudgetEndsInADeadLetter(t *testing.T) {
	t.Parallel()
	var ahead atomic.Int64 // of the real time
	p := newPlant(t, "", func(o *delivery.Options) {
		o.Clock = func() time.Time { return time.Now().Add(time.Duration(ahead.Load())) }
	})
	for range 2000 {
		p.faults.plan(transactions, status(503))
	}
	s := scene{name: "old", sequence: 1}
	p.accept(s)
	p.start()
	tries := func(n int) {
		seen := p.rows(s.caseKey())[1].Attempts
		require.Eventually(t, func() bool { return p.rows(s.caseKey())[1].Attempts > seen+n }, time.Minute, 5*time.Millisecond)
	}
	tries(1)
	ahead.Store(int64(96 * time.Hour)) // the machine was off, or its clock jumped
	tries(2)
	require.True(t, p.rows(s.caseKey())[1].State.Open(), "it has hardly been tried")
	for range 34 {
		ahead.Add(int64(2 * time.Hour))
		tries(1)
		require.True(t, p.rows(s.caseKey())[1].State.Open(), "it is tried for three days")
	}
	ahead.Add(int64(2 * time.Hour))
	d := p.until(s, store.Dead)
	require.Equal(t, "budget-spent", d.Reason)
	require.Contains(t, d.Explanation, "asked for patience")
}

func TestTroubleOfOurOwnIsTriedAgainAndAPanicHurtsOneRowOnly(t *testing.T) {
	t.Parallel()
	var mu sync.Mutex
	calls := map[int]int{}
	p := newPlant(t, "", nil)
	inner := p.render
	p.close()
	p.change = func(o *delivery.Options) {
		o.Render = func(ctx context.Context, caseKey string, sequence int) (graph.Graph, error) {
			mu.Lock()
			calls[sequence]++
			n := calls[sequence]
			mu.Unlock()
			switch {
			case n == 1 && sequence == 1:
				return graph.Graph{}, errors.New("disk trouble")
			case n == 1 && sequence == 2:
				panic("HTEST")
			}
			return inner(ctx, caseKey, sequence)
		}
	}
	p.open()
	all := states("trouble", 1)
	p.accept(all...)
	unknown := scene{name: "nobody knows", sequence: 1}
	p.accept(unknown)
	p.mu.Lock()
	delete(p.scenes, unknown.caseKey()+"/1")
	p.mu.Unlock()
	p.start()
	p.until(all[2], store.Delivered)
	require.Equal(t, "content-invalid", p.until(unknown, store.Dead).Reason)
}

func TestARowWithoutAJobIsSweptUp(t *testing.T) {
	t.Parallel()
	p := newPlant(t, "", nil)
	s := scene{name: "orphan", sequence: 1}
	p.accept(s)
	_, err := p.store.DB().ExecContext(context.Background(), `DELETE FROM river_job`)
	require.NoError(t, err)
	p.start()
	p.until(s, store.Delivered)
}

func TestWhatIsRolledBackIsNeverSent(t *testing.T) {
	t.Parallel()
	p := newPlant(t, "", nil)
	s := scene{name: "rolled back", sequence: 1}
	err := p.store.InTx(context.Background(), func(tx *store.Tx) error {
		require.NoError(t, p.svc.EnqueueTx(context.Background(), tx, s.caseKey(), 1))
		return errors.New("no")
	})
	require.Error(t, err)
	var jobs int
	require.NoError(t, p.store.DB().QueryRowContext(context.Background(), `SELECT count(*) FROM river_job`).Scan(&jobs))
	require.Zero(t, jobs)
	require.Empty(t, p.rows(s.caseKey()))
}

func TestDifferencesStandInTheRow(t *testing.T) {
	t.Parallel()
	p := newPlant(t, "", nil)
	p.faults.plan(func(r *http.Request) bool {
		return r.Method == http.MethodGet && strings.Contains(r.URL.Path, "/Observation/")
	},
		after(func(w http.ResponseWriter, real *httptest.ResponseRecorder) {
			_, _ = w.Write([]byte(strings.Replace(real.Body.String(), "22.50", "22.5", 1)))
		}))
	s := scene{name: "digits", sequence: 1}
	p.accept(s)
	p.start()
	d := p.until(s, store.DeliveredWithDifferences)
	var details struct{ Differences []delivery.Difference }
	require.NoError(t, json.Unmarshal(d.Details, &details))
	require.Equal(t, []delivery.Difference{{Role: "lesion/1/size", Path: "Observation.valueQuantity.value", Kind: delivery.Digits}}, details.Differences)
}

// What waits for somebody is counted as it stands, also by a service that has not
// seen it stop.
func TestStoppedRowsAreCountedAsTheyAre(t *testing.T) {
	t.Parallel()
	engines(t, func(t *testing.T, dsn string) {
		registry := prometheus.NewRegistry()
		p := newPlant(t, dsn, func(o *delivery.Options) { o.Registerer = registry })
		bad := scene{name: "stopped", sequence: 1, patient: "HTEST-PAT-0001"}
		_, err := p.Seed("Patient", practice.PatientSystem, "HTEST-PAT-0001", nil)
		require.NoError(t, err)
		p.accept(bad)
		p.start()
		d := p.until(bad, store.InConflict)
		p.close()
		registry = prometheus.NewRegistry()
		p.open()
		require.Equal(t, 1.0, gauge(t, registry, "enbloc_delivery_stopped_rows", "conflict"))
		require.Equal(t, 0.0, gauge(t, registry, "enbloc_delivery_stopped_rows", "dead"))
		require.NoError(t, p.svc.Skip(t.Context(), d.ID))
		require.Equal(t, 0.0, gauge(t, registry, "enbloc_delivery_stopped_rows", "conflict"))
	})
}

func TestMetricsCountWithoutPatients(t *testing.T) {
	t.Parallel()
	registry := prometheus.NewRegistry()
	p := newPlant(t, "", func(o *delivery.Options) { o.Registerer = registry })
	text := func() string {
		families, err := registry.Gather()
		require.NoError(t, err)
		var b strings.Builder
		for _, f := range families {
			b.WriteString(f.String())
		}
		return b.String()
	}
	require.Contains(t, text(), "conflict", "labels are there before anything happened")
	all := states("metrics", 1)
	p.accept(all...)
	p.start()
	p.until(all[2], store.Delivered)
	got := text()
	require.NotContains(t, got, "HTEST")
	require.NotContains(t, got, all[0].caseKey())
	require.Contains(t, got, "enbloc_delivery_oldest_seconds")
}

// TestThreeReplicasOfWhichOneDiesKeepTheOrder lets three services work one Postgres database, as
// replicas do, and kills one in the middle.
func TestThreeReplicasOfWhichOneDiesKeepTheOrder(t *testing.T) {
	t.Parallel()
	dsn := postgresURL(t)
	p := newPlant(t, dsn, hasty)
	others := []*plant{}
	for range 2 {
		o := *p
		o.open()
		others = append(others, &o)
	}
	var names []string
	for n := range 20 {
		names = append(names, fmt.Sprintf("replica-%d", n))
		p.accept(states(names[n], n+1)...)
	}
	p.start()
	for _, o := range others {
		o.start()
	}
	p.until(states("replica-3", 1)[0], store.Delivered)
	require.NoError(t, others[0].store.Close()) // dies
	p.settled()
	p.requireWhole(names...)
	others[1].close()
}
