package store

import (
	"context"
	"slices"
	"time"

	"enbloc/server/fault"
)

// Forget takes entries of a case out of the ledger, and that any state of it
// stands complete: they were deleted on the target.
func (t *Tx) Forget(ctx context.Context, target, caseKey string, roleKeys []string) error {
	if _, err := t.exec(ctx, `DELETE FROM delivered WHERE target = ? AND case_key = ?`, target, caseKey); err != nil {
		return translate("forgetting delivered state", err)
	}
	err := t.changePage(ctx, target, caseKey, func(page []LedgerEntry) []LedgerEntry {
		return slices.DeleteFunc(page, func(e LedgerEntry) bool { return slices.Contains(roleKeys, e.RoleKey) })
	})
	return translate("forgetting ledger", err)
}

// LastSettled returns the newest row of each case of a tenant for a target where that row
// is delivered or withheld, by id after the one given. Limit is 1 to 500; 0
// means 50.
func (r reads) LastSettled(ctx context.Context, tenant, target, after string, limit int) ([]Delivery, error) {
	all, err := list(ctx, r, scanDelivery, `SELECT `+deliveryColumns+` FROM deliveries d WHERE tenant = ? AND target = ? AND id > ?
		AND state IN ('delivered', 'delivered-with-differences', 'withheld')
		AND NOT EXISTS (SELECT 1 FROM deliveries o WHERE o.case_key = d.case_key AND o.target = d.target AND o.sequence > d.sequence)
		ORDER BY id LIMIT ?`, tenant, target, after, pageSize(limit))
	return all, translate("listing settled deliveries", err)
}

// Review makes a delivered or withheld row due at once, because whether it may
// stand on the target has changed. Any other row is a fault of kind Conflict.
func (t *Tx) Review(ctx context.Context, id string, now time.Time) error {
	res, err := t.exec(ctx, `UPDATE deliveries SET state = 'retrying', reason = 'consent-changed', explanation = '', uncertain = 1, next_attempt = ?, created_at = ?, updated_at = ?
		WHERE id = ? AND state IN ('delivered', 'delivered-with-differences', 'withheld')`, micros(now), micros(now), micros(now), id)
	if err != nil {
		return translate("reviewing delivery", err)
	}
	return oneRow(res, fault.New(fault.Conflict, "The delivery is not settled."))
}
