package delivery_test

import (
	"testing"

	"enbloc/server/store/storetest"
)

// postgresURL gives the test an empty schema on the Postgres of
// ENBLOC_TEST_POSTGRES, or skips.
func postgresURL(t testing.TB) string { return storetest.Postgres(t) }
