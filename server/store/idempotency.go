package store

import (
	"context"
	"time"

	"enbloc/server/fault"
)

// Answer is what a request with an idempotency key was answered.
type Answer struct {
	// RequestHash is that of the request which the key was first used for.
	RequestHash string
	Status      int
	ContentType string
	Body        []byte
	Created     time.Time
}

// Answer returns what was answered under a key, or a fault of kind NotFound.
func (r reads) Answer(ctx context.Context, tenant, key string) (Answer, error) {
	var a Answer
	var created int64
	err := r.row(ctx, `SELECT request_hash, status, content_type, body, created_at FROM idempotency WHERE tenant = ? AND key = ?`, tenant, key).
		Scan(&a.RequestHash, &a.Status, &a.ContentType, &a.Body, &created)
	a.Created = fromMicros(created)
	return a, found("answer", err)
}

// KeepAnswer stores the answer of a request in the transaction of its effect,
// so that a key is used up exactly when the effect is there. A key in use is a
// fault of kind Conflict: read the answer that won.
func (t *Tx) KeepAnswer(ctx context.Context, tenant, key string, a Answer) error {
	if key == "" {
		return fault.New(fault.Malformed, "The idempotency key is empty.")
	}
	_, err := t.exec(ctx, `INSERT INTO idempotency (tenant, key, request_hash, status, content_type, body, created_at) VALUES (`+marks(7)+`)`,
		tenant, key, a.RequestHash, a.Status, a.ContentType, a.Body, micros(a.Created))
	return translate("keeping answer", err)
}

// ForgetAnswers removes answers older than the time and returns their number.
func (t *Tx) ForgetAnswers(ctx context.Context, before time.Time) (int64, error) {
	res, err := t.exec(ctx, `DELETE FROM idempotency WHERE created_at < ?`, micros(before))
	if err != nil {
		return 0, translate("forgetting answers", err)
	}
	n, err := res.RowsAffected()
	return n, translate("counting answers", err)
}
