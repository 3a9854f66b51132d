package store

import (
	"context"
	"database/sql"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// A process that cannot prove any more that it lives ends its work before
// others may take it over, and may work again once it has proved it anew.
func TestLifeEndsWithoutProof(t *testing.T) {
	t.Parallel()
	require.Less(t, ProofLasts, DeathGrace)
	p := &Presence{db: &sql.DB{}, proven: time.Now()}
	p.life, p.end = context.WithCancel(context.Background())
	before := p.Life()
	p.lapse()
	require.NoError(t, before.Err(), "it was proven a moment ago")
	p.proven = time.Now().Add(-ProofLasts)
	p.lapse()
	require.Error(t, before.Err())
	require.Error(t, p.Life().Err())
	p.prove(time.Now())
	require.NoError(t, p.Life().Err())
	require.Error(t, before.Err(), "what was broken off stays so")
	p.proven = time.Now().Add(-ProofLasts)
	require.Error(t, p.Life().Err(), "even when nobody called lapse")
}
