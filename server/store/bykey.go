package store

import (
	"context"
	"time"
)

// CasesByKey returns a stretch of the cases of a tenant by their keys, which are
// as good as random, after the one given. Limit is 1 to 500; 0 means 50.
func (r reads) CasesByKey(ctx context.Context, tenant, after string, limit int) ([]Case, error) {
	all, err := list(ctx, r, scanCase, `SELECT `+caseColumns+` FROM cases WHERE tenant = ? AND case_key > ? ORDER BY case_key LIMIT ?`, tenant, after, pageSize(limit))
	return all, translate("walking cases", err)
}

// LastChange is when a case of the tenant changed last; zero without a case.
func (r reads) LastChange(ctx context.Context, tenant string) (time.Time, error) {
	var at int64
	err := r.row(ctx, `SELECT coalesce(max(updated_at), 0) FROM cases WHERE tenant = ?`, tenant).Scan(&at)
	return fromMicros(at), translate("reading the last change", err)
}
