package store

import (
	"context"
	"database/sql"
	"errors"
	"time"

	"enbloc/server/fault"
)

// Verdict says what became of a worker's try to take an outbox row.
type Verdict int

// The four answers to a claim.
const (
	// Claimed: the row is the caller's until its lease ends.
	Claimed Verdict = iota
	// Early: the row is not due yet; see its NextAttempt.
	Early
	// Blocked: an earlier state of the case is not settled, or another worker
	// sends for the case. Whoever settles it wakes the next row.
	Blocked
	// Closed: nothing is left to do.
	Closed
)

// LongestWait is longer than any row is ever told to wait.
const LongestWait = 2 * time.Hour

// blockers are the states in which an earlier row holds back the later ones of
// its case. A parked or dead one does not: what mends it is, as a rule, a
// corrected report, and that is a later row.
const blockers = `('waiting', 'sending', 'retrying', 'conflict')`

// unblocked: no other row of the case is being sent, nor an earlier one open.
const unblocked = `NOT EXISTS (SELECT 1 FROM deliveries o WHERE o.case_key = deliveries.case_key AND o.target = deliveries.target AND o.id <> deliveries.id
	AND (o.state = 'sending' OR (o.sequence < deliveries.sequence AND o.state IN ` + blockers + `)))`

// Claim hands an outbox row to a worker for the length of a lease and counts an
// attempt. A row whose former worker did not finish within its lease is handed
// out again, marked Uncertain. The order inside a case holds across processes. A
// row that is not there, or another tenant's, is a fault of kind NotFound.
func (s *Store) Claim(ctx context.Context, tenant, id, worker string, now time.Time, lease time.Duration) (d Delivery, v Verdict, err error) {
	if ctx.Err() != nil {
		return d, Closed, ctx.Err()
	}
	// Whoever breaks off a claim may not hear that it was granted, and the row would
	// be nobody's until others believe in the death of its holder.
	ctx, cancel := outlasting(ctx, claimPatience)
	defer cancel()
	if s.engine == Postgres { // where one statement is a transaction
		d, err = s.claimNew(ctx, tenant, id, worker, now, lease)
	}
	if s.engine != Postgres || errors.Is(err, sql.ErrNoRows) {
		err = s.InTx(ctx, func(tx *Tx) error {
			d, v, err = tx.Claim(ctx, tenant, id, worker, now, lease)
			return err
		})
	}
	err = translate("claiming delivery", err)
	if fault.Is(err, fault.Conflict) { // another row of the case was taken at the same moment
		return d, Blocked, nil
	}
	return d, v, err
}

// claimPatience is how long a claim goes on that its caller has broken off.
const claimPatience = 5 * time.Second

// outlasting is a context that ends some time after another one does.
func outlasting(ctx context.Context, by time.Duration) (context.Context, context.CancelFunc) {
	longer, cancel := context.WithCancel(context.WithoutCancel(ctx))
	stop := context.AfterFunc(ctx, func() { time.AfterFunc(by, cancel) })
	return longer, func() { stop(); cancel() }
}

// claimNew takes a row that nobody had before, as nearly every row is.
func (r reads) claimNew(ctx context.Context, tenant, id, worker string, now time.Time, lease time.Duration) (Delivery, error) {
	return scanDelivery(r.row(ctx, `UPDATE deliveries SET state = 'sending', claimed_by = ?, claimed_until = ?, attempts = attempts + 1, updated_at = ?
		WHERE id = ? AND tenant = ? AND state = 'waiting' AND `+unblocked+` RETURNING `+deliveryColumns, worker, micros(now.Add(lease)), micros(now), id, tenant))
}

// Claim is [Store.Claim] in a transaction.
func (t *Tx) Claim(ctx context.Context, tenant, id, worker string, now time.Time, lease time.Duration) (Delivery, Verdict, error) {
	if t.engine != Postgres { // where it has been tried before the transaction
		d, err := t.claimNew(ctx, tenant, id, worker, now, lease)
		if err == nil || !errors.Is(err, sql.ErrNoRows) {
			return d, Claimed, translate("claiming delivery", err)
		}
	}
	d, err := t.Delivery(ctx, id)
	if err != nil {
		return Delivery{}, Closed, err
	}
	if d.Tenant != tenant {
		return Delivery{}, Closed, notFound("delivery")
	}
	// A time further ahead than anything waits was written before the clock was
	// put back: to believe it would leave the row lying for as long.
	impossible := now.Add(max(LongestWait, 2*lease))
	abandoned := d.State == Sending && (d.ClaimedUntil.Before(now) || d.ClaimedUntil.After(impossible))
	early := d.State != Waiting && d.NextAttempt.After(now) && !d.NextAttempt.After(impossible)
	switch {
	case d.State == Sending && !abandoned:
		return d, Blocked, nil
	case !d.State.Open():
		return d, Closed, nil
	case !abandoned && early:
		return d, Early, nil
	}
	res, err := t.exec(ctx, `UPDATE deliveries SET state = 'sending', claimed_by = ?, claimed_until = ?, attempts = attempts + 1, uncertain = ?, updated_at = ?
		WHERE id = ? AND state = ? AND attempts = ? AND `+unblocked,
		worker, micros(now.Add(lease)), flag(d.Uncertain || abandoned), micros(now), id, d.State, d.Attempts)
	if err != nil {
		return d, Closed, translate("claiming delivery", err)
	}
	if n, err := res.RowsAffected(); err != nil || n == 0 {
		return d, Blocked, translate("claiming delivery", err)
	}
	d.State, d.ClaimedBy, d.ClaimedUntil = Sending, worker, now.Add(lease)
	d.Attempts, d.Uncertain = d.Attempts+1, d.Uncertain || abandoned
	return d, Claimed, nil
}

// Attempt is one try of one outbox row. It holds no patient data.
type Attempt struct {
	Number      int
	Started     time.Time
	Duration    time.Duration
	HTTPStatus  int
	Class       string
	Reason      string
	Diagnostics string
	RequestID   string
}

// Outcome is what a worker leaves in its row.
type Outcome struct {
	State               DeliveryState
	Reason, Explanation string
	// Details is JSON; empty means {}.
	Details     []byte
	Uncertain   bool
	NextAttempt time.Time
}

// Finish gives a claimed row back with its outcome and keeps the attempt. It is
// a fault of kind Conflict when the worker no longer holds the row, in which
// case nothing is written.
func (t *Tx) Finish(ctx context.Context, d Delivery, o Outcome, a Attempt, now time.Time) error {
	if len(o.Details) == 0 {
		o.Details = []byte(`{}`)
	}
	next := o.NextAttempt
	if next.IsZero() {
		next = now
	}
	other := &fault.Error{Op: "finishing delivery", Kind: fault.Conflict, Subject: d.ID, Message: "Another worker holds the row."}
	if err := t.writeOne(ctx, "finishing delivery", other, `UPDATE deliveries SET state = ?, reason = ?, explanation = ?, details = ?, uncertain = ?, next_attempt = ?,
		claimed_by = '', claimed_until = 0, updated_at = ? WHERE id = ? AND state = 'sending' AND claimed_by = ? AND attempts = ?`,
		o.State, o.Reason, o.Explanation, o.Details, flag(o.Uncertain), micros(next), micros(now), d.ID, d.ClaimedBy, d.Attempts); err != nil {
		return err
	}
	return t.write(ctx, "keeping attempt", `INSERT INTO attempts (delivery_id, number, started_at, duration_us, http_status, class, reason, diagnostics, request_id)
		VALUES (`+marks(9)+`)`, d.ID, d.Attempts, micros(a.Started), a.Duration.Microseconds(), a.HTTPStatus, a.Class, a.Reason, a.Diagnostics, a.RequestID)
}

// SupersedeBelow closes the rows of a case that were left behind by a state
// which stands on the target.
func (t *Tx) SupersedeBelow(ctx context.Context, target, caseKey string, sequence int, now time.Time) error {
	if sequence <= 1 {
		return nil // nothing comes before the first state
	}
	return t.write(ctx, "superseding deliveries", `UPDATE deliveries SET state = 'superseded', reason = 'later-state-delivered',
		explanation = 'A later state of the case stands on the target.', updated_at = ?
		WHERE case_key = ? AND target = ? AND sequence < ? AND state IN ('waiting', 'retrying', 'parked', 'dead')`,
		micros(now), caseKey, target, sequence)
}

// NextOpen returns the first open row of a case for a target after a sequence,
// or a fault of kind NotFound.
func (r reads) NextOpen(ctx context.Context, target, caseKey string, after int) (Delivery, error) {
	d, err := scanDelivery(r.row(ctx, `SELECT `+deliveryColumns+` FROM deliveries WHERE case_key = ? AND target = ? AND sequence > ?
		AND state IN ('waiting', 'retrying', 'parked') ORDER BY sequence LIMIT 1`, caseKey, target, after))
	return d, found("delivery", err)
}

// released puts a row into the state that a worker who is gone leaves it in:
// what he sent may have arrived.
const released = `UPDATE deliveries SET state = 'retrying', reason = 'interrupted', explanation = 'The service stopped while this was being sent.',
	uncertain = 1, claimed_by = '', claimed_until = 0, next_attempt = ?, job_id = 0, updated_at = ? WHERE state = 'sending'`

// ReleaseAll takes every row out of its worker's hands and returns their number.
// It is for the start of a process that has the database to itself: whoever held
// them is gone.
func (t *Tx) ReleaseAll(ctx context.Context, now time.Time) (int64, error) {
	res, err := t.exec(ctx, released, micros(now), micros(now))
	if err != nil {
		return 0, translate("releasing deliveries", err)
	}
	n, err := res.RowsAffected()
	return n, translate("counting deliveries", err)
}

// Release takes every row of a tenant out of the hands of one worker, who is
// known to be gone, and returns their ids.
func (t *Tx) Release(ctx context.Context, tenant, worker string, now time.Time) ([]string, error) {
	scan := func(row scanner) (id string, err error) {
		err = row.Scan(&id)
		return id, err
	}
	ids, err := list(ctx, t.reads, scan, released+` AND claimed_by = ? AND tenant = ? RETURNING id`, micros(now), micros(now), worker, tenant)
	return ids, translate("releasing deliveries", err)
}

// Attempts returns the tries of an outbox row, oldest first.
func (r reads) Attempts(ctx context.Context, deliveryID string) ([]Attempt, error) {
	scan := func(row scanner) (Attempt, error) {
		var a Attempt
		var started, duration int64
		err := row.Scan(&a.Number, &started, &duration, &a.HTTPStatus, &a.Class, &a.Reason, &a.Diagnostics, &a.RequestID)
		a.Started, a.Duration = fromMicros(started), time.Duration(duration)*time.Microsecond
		return a, err
	}
	all, err := list(ctx, r, scan, `SELECT number, started_at, duration_us, http_status, class, reason, diagnostics, request_id
		FROM attempts WHERE delivery_id = ? ORDER BY number`, deliveryID)
	return all, translate("listing attempts", err)
}
