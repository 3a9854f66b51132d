//go:build peers

package server_test

import (
	"database/sql"
	"fmt"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/stretchr/testify/require"

	"enbloc/server/servertest"
	"enbloc/server/store/storetest"
)

// besides runs statements on the Postgres for tests, beside the database that a
// service uses.
func besides(t *testing.T) func(format string, args ...any) {
	t.Helper()
	db, err := sql.Open("pgx", os.Getenv(storetest.PostgresEnv))
	require.NoError(t, err)
	t.Cleanup(func() { db.Close() })
	return func(format string, args ...any) {
		t.Helper()
		_, err := db.Exec(fmt.Sprintf(format, args...))
		require.NoError(t, err)
	}
}

// refused demands the answer of a service that cannot write.
func refused(t *testing.T, s *servertest.Service, a servertest.Answer) {
	t.Helper()
	p := problemOf(t, a, http.StatusServiceUnavailable)
	require.NotEmpty(t, a.Header.Get("Retry-After"))
	for _, word := range []string{"read-only", "extend", "space", "SQLSTATE"} {
		require.NotContains(t, p.Detail, word)
	}
}

// A Postgres may only be read for a while, as one is to which a service was led
// after a failure, or whose keeper sees its disk run full. Reports are refused,
// nothing is half-written, and what is stored can be looked at. As soon as it may
// be written again it is, on the connections of before too, and deliveries go on.
func TestAPostgresThatMayOnlyBeRead(t *testing.T) {
	t.Parallel()
	dsn := storetest.PostgresDatabase(t)
	u, err := url.Parse(dsn)
	require.NoError(t, err)
	name, run := strings.TrimPrefix(u.Path, "/"), besides(t)
	s := servertest.Start(t, servertest.Options{Database: dsn})
	first := s.MustAccept("/cases", example(t, gastricReport))
	s.Settle()
	before := s.Rows()

	run(`ALTER DATABASE %s SET default_transaction_read_only = on`, name)
	run(`SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = '%s'`, name)
	for range 3 {
		refused(t, s, s.Post("/cases", example(t, bleedReport), "Idempotency-Key", "k"))
		refused(t, s, s.Post("/histology", example(t, gastricHistology)))
		refused(t, s, s.Do(http.MethodGet, "/health/ready", nil))
	}
	var seen map[string]any
	s.MustGet("/cases/"+first.Case, &seen)
	now := s.Rows()
	delete(before, "river_job") // the queue's own to clear away
	delete(now, "river_job")
	require.Equal(t, before, now)

	run(`ALTER DATABASE %s RESET default_transaction_read_only`, name)
	a := s.Post("/cases", example(t, bleedReport), "Idempotency-Key", "k")
	require.Equal(t, http.StatusAccepted, a.Status, string(a.Body))
	second := s.MustAccept("/histology", example(t, gastricHistology))
	require.Equal(t, first.Case, second.Case)
	s.Settle()
	for _, w := range s.Receiver.Journal() {
		require.LessOrEqual(t, w.Version, 2, "%s/%s", w.Type, w.ID)
	}
}

// smallDisk is a tablespace with room for a database and little more, and what
// gives it more. Only root can make one.
func smallDisk(t *testing.T, run func(string, ...any)) (tablespace string, grow func()) {
	t.Helper()
	if os.Getuid() != 0 {
		t.Skip("only root can mount a small disk")
	}
	db, err := sql.Open("pgx", os.Getenv(storetest.PostgresEnv))
	require.NoError(t, err)
	defer db.Close()
	var data string
	require.NoError(t, db.QueryRow(`SHOW data_directory`).Scan(&data))
	info, err := os.Stat(data)
	require.NoError(t, err, "the Postgres for tests must run on this machine")
	owner := info.Sys().(*syscall.Stat_t)

	folder, err := os.MkdirTemp("", "enbloc-disk-")
	require.NoError(t, err)
	require.NoError(t, os.Chmod(folder, 0o711)) //nolint:gosec // Postgres' user must get through
	disk := filepath.Join(folder, "disk")
	require.NoError(t, os.Mkdir(disk, 0o700))
	mount := func(args ...string) {
		out, err := exec.Command("mount", append(args, "tmpfs", disk)...).CombinedOutput() //nolint:gosec // a folder of ours
		require.NoError(t, err, string(out))
	}
	mount("-t", "tmpfs", "-o", "size=16m")
	tablespace = "t" + strings.ReplaceAll(uuid.NewString(), "-", "")
	t.Cleanup(func() {
		run(`DROP TABLESPACE %s`, tablespace)
		out, err := exec.Command("umount", disk).CombinedOutput() //nolint:gosec // a folder of ours
		require.NoError(t, err, string(out))
		require.NoError(t, os.RemoveAll(folder))
	})
	require.NoError(t, os.Chown(disk, int(owner.Uid), int(owner.Gid)))
	run(`CREATE TABLESPACE %s LOCATION '%s'`, tablespace, disk)
	return tablespace, func() { mount("-o", "remount,size=256m") }
}

// The disk below Postgres runs full: each document is there whole or not at all,
// and once there is room the same request is accepted.
func TestAFullDiskBelowPostgres(t *testing.T) {
	t.Parallel()
	base := os.Getenv(storetest.PostgresEnv)
	require.NotEmpty(t, base, "start a Postgres and give its URL")
	run := besides(t)
	tablespace, grow := smallDisk(t, run)
	name := "t" + strings.ReplaceAll(uuid.NewString(), "-", "")
	run(`CREATE DATABASE %s TABLESPACE %s`, name, tablespace)
	t.Cleanup(func() { run(`DROP DATABASE %s WITH (FORCE)`, name) })
	u, err := url.Parse(base)
	require.NoError(t, err)
	u.Path = "/" + name
	s := servertest.Start(t, servertest.Options{Database: u.String(), Undelivered: true})

	report := func(n int) []byte {
		return example(t, gastricReport, fmt.Sprintf("report_id/value=HTEST-FULL-%04d", n))
	}
	accepted := 0
	for began := time.Now(); ; {
		require.Less(t, time.Since(began), 3*time.Minute, "the disk never ran full")
		before := s.Rows()
		a := s.Post("/cases", report(accepted), "Idempotency-Key", fmt.Sprint(accepted))
		if a.Status == http.StatusAccepted {
			accepted++
			continue
		}
		refused(t, s, a)
		require.Equal(t, before, s.Rows())
		break
	}
	require.Equal(t, accepted, s.Rows()["cases"])
	require.Equal(t, accepted, s.Rows()["deliveries"])
	grow()
	require.Equal(t, http.StatusAccepted, s.Post("/cases", report(accepted), "Idempotency-Key", fmt.Sprint(accepted)).Status)
	require.Equal(t, accepted+1, s.Rows()["documents"])
}
