package delivery_test

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"enbloc/server/delivery"
	"enbloc/server/store"
)

// What a killed process held goes on long before its claims run out; what a
// living one holds does not, however long it takes.
func TestRowsOfADeadProcessGoOnAndThoseOfALivingOneDoNot(t *testing.T) {
	t.Parallel()
	p := newPlant(t, postgresURL(t), func(o *delivery.Options) { o.AttemptTimeout, o.Margin = 5*time.Hour, 5*time.Hour })
	ctx := context.Background()
	alive, err := p.store.Appear(ctx, "alive")
	require.NoError(t, err)
	dead, err := p.store.Appear(ctx, "dead")
	require.NoError(t, err)

	sending, standing, fetched := states("sending", 1)[0], states("standing", 2)[0], states("fetched", 3)[0]
	p.accept(sending, standing, fetched)
	require.NoError(t, p.store.InTx(ctx, func(tx *store.Tx) error {
		for s, worker := range map[*scene]string{&sending: "dead", &standing: "alive"} {
			_, verdict, err := tx.Claim(ctx, "", p.rows(s.caseKey())[1].ID, worker, time.Now(), 10*time.Hour)
			require.NoError(t, err)
			require.Equal(t, store.Claimed, verdict)
		}
		// The queue believes that the job of a row which nobody claimed is running.
		_, err := tx.SQL().ExecContext(ctx, `UPDATE river_job SET state = 'running', attempted_at = now(), attempted_by = '{dead}'`)
		return err
	}))
	p.start()
	dead.Leave()
	p.until(sending, store.Delivered)
	p.until(fetched, store.Delivered)
	require.Equal(t, 2, p.rows(sending.caseKey())[1].Attempts)

	d := p.rows(standing.caseKey())[1]
	require.Equal(t, store.Sending, d.State)
	require.Equal(t, "alive", d.ClaimedBy)
	alive.Leave()
	p.until(standing, store.Delivered)
}
