package delivery_test

import (
	"database/sql"
	"fmt"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/riverqueue/river"
	"github.com/riverqueue/river/riverdriver"
	"github.com/riverqueue/river/riverdriver/riverdatabasesql"
	"github.com/riverqueue/river/riverdriver/riversqlite"
	"github.com/riverqueue/river/rivermigrate"
	"github.com/stretchr/testify/require"

	"enbloc/server/delivery"
	"enbloc/server/store"
	"enbloc/server/store/storetest"
)

const migrations = "../store/migrations"

// A database that a program of any version left goes on where that stopped: what
// stands at the target is known and not written again, what was waiting, being
// sent or in doubt arrives once, and what somebody must decide stays. Jobs of a
// tenant from before tenants had queues lie in a queue that nobody works.
func TestTheOutboxOfEveryVersionGoesOn(t *testing.T) {
	t.Parallel()
	for version := 1; version < storetest.Newest(t, migrations); version++ {
		tenants := []string{""}
		if version == 4 {
			tenants = append(tenants, "north")
		}
		for _, tenant := range tenants {
			t.Run(fmt.Sprint(version, tenant), func(t *testing.T) {
				t.Parallel()
				engines(t, func(t *testing.T, dsn string) {
					if dsn == "" {
						dsn = filepath.Join(t.TempDir(), "old.db")
					}
					goesOn(t, dsn, version, tenant)
				})
			})
		}
	}
}

func goesOn(t *testing.T, dsn string, version int, tenant string) {
	// What an old program delivered is what one of today does.
	b := newBench(t)
	today := plantAt(t, b, "", nil)
	known, stopped := states("known", 1), states("stopped", 2)
	today.accept(known[0], stopped[0])
	today.start()
	today.settled()
	wrote := b.writes()

	old := storetest.OpenOld(t, dsn, migrations, version)
	queue := oldQueue(t, old, dsn)
	row := func(s scene, d store.Delivery) {
		d.Tenant, d.CaseKey, d.Sequence, d.Target = tenant, s.caseKey(), s.sequence, "practice"
		d.ID = fmt.Sprintf("%s-%d", s.name, s.sequence)
		old.Delivery(d)
	}
	for name, n := range map[string]int{"known": 3, "stopped": 2, "sending": 1, "doubt": 1, "orphan": 1} {
		old.Case(key("c", name), tenant, n)
	}
	var shared []string
	for _, r := range known[0].graph().Resources {
		if r.Shared {
			shared = append(shared, r.Key)
		}
	}
	for _, s := range []scene{known[0], stopped[0]} {
		stands, _, err := today.store.Ledger(t.Context(), "practice", s.caseKey(), shared...)
		require.NoError(t, err)
		require.Len(t, stands, 4+len(shared))
		old.Ledger("practice", stands...)
		old.Put("delivered", storetest.Row{"target": "practice", "case_key": s.caseKey(), "sequence": 1, "written_at": 5})
		row(s, store.Delivery{State: store.Delivered, Attempts: 1})
		shared = nil // they stand once
	}
	row(known[1], store.Delivery{State: store.Waiting, JobID: queue("known-2")})
	row(known[2], store.Delivery{State: store.Waiting})
	row(stopped[1], store.Delivery{State: store.InConflict, Reason: "changed-by-others", Attempts: 1})
	sending, doubt, orphan := states("sending", 3)[0], states("doubt", 4)[0], states("orphan", 5)[0]
	row(sending, store.Delivery{State: store.Sending, ClaimedBy: "gone", Attempts: 1})
	row(doubt, store.Delivery{State: store.Retrying, Uncertain: true, Attempts: 2, JobID: queue("doubt-1")})
	row(orphan, store.Delivery{State: store.Waiting, JobID: 12345})
	old.Close()

	p := plantAt(t, b, dsn, func(o *delivery.Options) { o.Tenant = tenant })
	for _, s := range []scene{known[1], known[2], sending, doubt, orphan} {
		p.scenes[fmt.Sprintf("%s/%d", s.caseKey(), s.sequence)] = s
	}
	p.start()
	for _, s := range []scene{known[1], known[2], sending, doubt, orphan} {
		require.Eventually(t, func() bool { return p.rowsOf(tenant, s.caseKey())[s.sequence].State == store.Delivered }, time.Minute, 10*time.Millisecond, s.name)
	}
	conflict := p.rowsOf(tenant, stopped[1].caseKey())[2]
	require.Equal(t, store.InConflict, conflict.State)
	require.Equal(t, 1, conflict.Attempts)
	// Of the known case only what is new and what changed, twice; of three more
	// everything but the device that they share.
	require.Equal(t, 2+2+3*4, b.writes()-wrote)
	b.byKey(t)
}

// oldJob is a job as every version has put it into the queue.
type oldJob struct {
	DeliveryID string `json:"delivery_id"`
}

func (oldJob) Kind() string { return "deliver" }

// oldQueue makes the tables of the queue, and returns what adds the job of a row.
func oldQueue(t *testing.T, old *storetest.Old, dsn string) func(deliveryID string) int64 {
	t.Helper()
	var driver riverdriver.Driver[*sql.Tx] = riversqlite.New(old.DB())
	if strings.HasPrefix(dsn, "postgres") {
		driver = riverdatabasesql.New(old.DB())
	}
	m, err := rivermigrate.New(driver, nil)
	require.NoError(t, err)
	_, err = m.Migrate(t.Context(), rivermigrate.DirectionUp, nil)
	require.NoError(t, err)
	client, err := river.NewClient(driver, &river.Config{})
	require.NoError(t, err)
	return func(deliveryID string) int64 {
		added, err := client.Insert(t.Context(), oldJob{deliveryID}, nil)
		require.NoError(t, err)
		return added.Job.ID
	}
}
