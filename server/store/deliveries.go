package store

import (
	"context"
	"encoding/json"
	"slices"
	"strings"
	"time"

	"enbloc/server/fault"
)

// DeliveryState is where an outbox row stands.
type DeliveryState string

// The states of an outbox row.
const (
	// Waiting rows have not been tried.
	Waiting DeliveryState = "waiting"
	// Sending rows are in the hands of one worker.
	Sending DeliveryState = "sending"
	// Delivered rows stand on the target, read back.
	Delivered DeliveryState = "delivered"
	// DeliveredWithDifferences rows stand on the target, but not as sent: an
	// alarm, as the target keeps less or other than what was signed.
	DeliveredWithDifferences DeliveryState = "delivered-with-differences"
	// Retrying rows wait for the next attempt.
	Retrying DeliveryState = "retrying"
	// ParkedDelivery rows wait for something at the target (the patient).
	ParkedDelivery DeliveryState = "parked"
	// InConflict rows were stopped because somebody else changed or doubled the
	// record; the case stands still until a human decides.
	InConflict DeliveryState = "conflict"
	// Dead rows were refused for good, or ran out of time.
	Dead DeliveryState = "dead"
	// Superseded rows need no sending any more: a later state stands on the
	// target, or somebody skipped them.
	Superseded DeliveryState = "superseded"
	// Withheld rows must not be sent, as the patient does not agree; nothing of
	// their case stands on the target.
	Withheld DeliveryState = "withheld"
)

// DeliveryStates lists all of them.
func DeliveryStates() []DeliveryState {
	return []DeliveryState{Waiting, Sending, Delivered, DeliveredWithDifferences, Retrying, ParkedDelivery, InConflict, Dead, Superseded, Withheld}
}

// Open reports whether the service still works on rows of this state.
func (s DeliveryState) Open() bool {
	return s == Waiting || s == Sending || s == Retrying || s == ParkedDelivery
}

// Delivery is one row of the outbox: one state of a case for one target.
type Delivery struct {
	ID, CaseKey string
	// Tenant is whose case it is; see Case.
	Tenant   string
	Sequence int
	Target   string
	State    DeliveryState
	// Reason is a short fixed word ("waiting-for-patient"), Explanation a
	// sentence for people; neither holds patient data.
	Reason, Explanation string
	// Details is JSON: the differences, conflicts or problems, as role and path.
	Details json.RawMessage
	// Attempts counts the times a worker took the row.
	Attempts int
	// Uncertain is true when an attempt may have reached the target without an
	// answer: the next one reads before it sends.
	Uncertain   bool
	NextAttempt time.Time
	// JobID is the queue's newest job for the row.
	JobID            int64
	ClaimedBy        string
	ClaimedUntil     time.Time
	Created, Updated time.Time
}

const deliveryColumns = `id, case_key, tenant, sequence, target, state, reason, explanation, details, attempts, uncertain, next_attempt, job_id, claimed_by, claimed_until, created_at, updated_at`

func scanDelivery(row scanner) (Delivery, error) {
	var d Delivery
	var uncertain, next, until, created, updated int64
	err := row.Scan(&d.ID, &d.CaseKey, &d.Tenant, &d.Sequence, &d.Target, &d.State, &d.Reason, &d.Explanation, (*[]byte)(&d.Details),
		&d.Attempts, &uncertain, &next, &d.JobID, &d.ClaimedBy, &until, &created, &updated)
	d.Uncertain = uncertain != 0
	d.NextAttempt, d.ClaimedUntil, d.Created, d.Updated = fromMicros(next), fromMicros(until), fromMicros(created), fromMicros(updated)
	return d, err
}

// Delivery returns the outbox row with the id, or a fault of kind NotFound.
func (r reads) Delivery(ctx context.Context, id string) (Delivery, error) {
	d, err := scanDelivery(r.row(ctx, `SELECT `+deliveryColumns+` FROM deliveries WHERE id = ?`, id))
	return d, found("delivery", err)
}

// DeliveryQuery selects a page of the outbox, newest first. Empty fields do not
// restrict, but for Tenant.
type DeliveryQuery struct {
	Tenant          string
	CaseKey, Target string
	States          []DeliveryState
	// After is the id of the last row of the page before.
	After string
	// Limit is the size of the page, 1 to 500; 0 means 50.
	Limit int
}

// Deliveries returns one page; the id of its last row is the cursor of the next.
func (r reads) Deliveries(ctx context.Context, q DeliveryQuery) ([]Delivery, error) {
	where, args := []string{"tenant = ?"}, []any{q.Tenant}
	add := func(term string, values ...any) { where, args = append(where, term), append(args, values...) }
	if q.CaseKey != "" {
		add("case_key = ?", q.CaseKey)
	}
	if q.Target != "" {
		add("target = ?", q.Target)
	}
	if len(q.States) > 0 {
		add("state IN (" + literals(q.States) + ")")
	}
	if q.After != "" {
		add("id < ?", q.After)
	}
	all, err := list(ctx, r, scanDelivery, `SELECT `+deliveryColumns+` FROM deliveries WHERE `+strings.Join(where, " AND ")+
		` ORDER BY id DESC LIMIT ?`, append(args, pageSize(q.Limit))...)
	return all, translate("listing deliveries", err)
}

// literals writes states into a query, each once and in one order: how many rows
// are in a state differs by far, and a plan is made without the values.
func literals(asked []DeliveryState) string {
	quoted := []string{"''"}
	for _, s := range DeliveryStates() {
		if slices.Contains(asked, s) {
			quoted = append(quoted, "'"+string(s)+"'")
		}
	}
	return strings.Join(quoted, ", ")
}

// OpenCount is how many rows of a target are in an open state.
type OpenCount struct {
	Target string
	State  DeliveryState
	Rows   int64
	// Oldest is when the oldest of them was accepted.
	Oldest time.Time
}

// OpenCounts counts the open rows by target and state; closed rows, which pile
// up, are not touched.
func (r reads) OpenCounts(ctx context.Context) ([]OpenCount, error) {
	scan := func(row scanner) (OpenCount, error) {
		var c OpenCount
		var oldest int64
		err := row.Scan(&c.Target, &c.State, &c.Rows, &oldest)
		c.Oldest = fromMicros(oldest)
		return c, err
	}
	all, err := list(ctx, r, scan, `SELECT target, state, count(*), min(created_at) FROM deliveries
		WHERE state IN ('waiting', 'sending', 'retrying', 'parked') GROUP BY target, state`)
	return all, translate("counting deliveries", err)
}

// StoppedCounts counts the rows that wait for somebody to decide, by target and
// state; they are few.
func (r reads) StoppedCounts(ctx context.Context) ([]OpenCount, error) {
	scan := func(row scanner) (c OpenCount, err error) {
		err = row.Scan(&c.Target, &c.State, &c.Rows)
		return c, err
	}
	all, err := list(ctx, r, scan, `SELECT target, state, count(*) FROM deliveries WHERE state IN ('conflict', 'dead') GROUP BY target, state`)
	return all, translate("counting stopped deliveries", err)
}

// AddDelivery stores an outbox row; ID, CaseKey, Tenant, Sequence, Target, JobID
// and Created are the caller's. The same state for the same target a second time is
// a fault of kind Conflict.
func (t *Tx) AddDelivery(ctx context.Context, d Delivery) error {
	at := micros(d.Created)
	args := []any{d.ID, d.CaseKey, d.Tenant, d.Sequence, d.Target, Waiting, "", "", []byte(`{}`), 0, 0, at, "", 0, at, at}
	job, args := jobID(d.JobID, args)
	return t.write(ctx, "storing delivery", `INSERT INTO deliveries (id, case_key, tenant, sequence, target, state, reason, explanation, details, attempts,
		uncertain, next_attempt, claimed_by, claimed_until, created_at, updated_at, job_id) VALUES (`+marks(16)+`, `+job+`)`, args...)
}

// LastID stands for the id that the database gave to the row written before, by
// [Tx.Write]; on Postgres only.
const LastID = -1

// jobID is the term for a job's id in a query, with the arguments so far and
// what it needs behind them.
func jobID(id int64, args []any) (string, []any) {
	if id == LastID {
		return `lastval()`, args
	}
	return `?`, append(args, id)
}

// SetJob notes the queue's newest job for a row.
func (t *Tx) SetJob(ctx context.Context, id string, job int64) error {
	term, args := jobID(job, nil)
	return t.write(ctx, "noting job", `UPDATE deliveries SET job_id = `+term+` WHERE id = ?`, append(args, id)...)
}

// Reopen makes a closed or parked row due at once, gives it a new age, and marks
// it Uncertain: nobody knows what happened on the target meanwhile. A row in a
// worker's hands, and one already delivered, are faults of kind Conflict.
func (t *Tx) Reopen(ctx context.Context, id string, now time.Time) error {
	res, err := t.exec(ctx, `UPDATE deliveries SET state = 'retrying', reason = 'resent', explanation = '', uncertain = 1, next_attempt = ?, created_at = ?, updated_at = ?
		WHERE id = ? AND state IN ('parked', 'conflict', 'dead', 'retrying', 'waiting', 'withheld')`, micros(now), micros(now), micros(now), id)
	if err != nil {
		return translate("reopening delivery", err)
	}
	return oneRow(res, fault.New(fault.Conflict, "The delivery is being sent, or needs no sending any more."))
}

// Skip closes a row unsent. A row in a worker's hands, and one that is closed as
// delivered or superseded, are faults of kind Conflict.
func (t *Tx) Skip(ctx context.Context, id string, now time.Time) error {
	res, err := t.exec(ctx, `UPDATE deliveries SET state = 'superseded', reason = 'skipped', explanation = 'Somebody decided not to send this state.', updated_at = ?
		WHERE id = ? AND state IN ('parked', 'conflict', 'dead', 'retrying', 'waiting')`, micros(now), id)
	if err != nil {
		return translate("skipping delivery", err)
	}
	return oneRow(res, fault.New(fault.Conflict, "The delivery is being sent, or is closed already."))
}
