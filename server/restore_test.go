package server_test

import (
	"bytes"
	"context"
	"encoding/json"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"enbloc/server/practice"
	"enbloc/server/servertest"
	"enbloc/server/store"
	"enbloc/server/store/storetest"
)

// house is a receiver that outlives the services that send to it.
type house struct {
	t        *testing.T
	receiver *practice.Receiver
	database string
	engine   engine
}

func newHouse(t *testing.T, e engine, reports ...[]byte) house {
	t.Helper()
	h := house{t, practice.New("/fhir"), e.database(t), e}
	known := map[string]bool{}
	for _, raw := range reports {
		var r struct {
			Patient struct {
				Identifier struct{ System, Value string }
			}
		}
		require.NoError(t, json.Unmarshal(raw, &r))
		id := r.Patient.Identifier
		if id.Value == "" || known[id.Value] {
			continue
		}
		known[id.Value] = true
		_, err := h.receiver.Seed("Patient", id.System, id.Value, nil)
		require.NoError(t, err)
	}
	return h
}

// during runs a service on the house's database and stops it again.
func (h house) during(name string, undelivered bool, do func(t *testing.T, s *servertest.Service)) {
	h.t.Helper()
	require.True(h.t, h.t.Run(name, func(t *testing.T) {
		s := servertest.Start(t, servertest.Options{Database: h.database, Undelivered: undelivered, UnknownPatients: true,
			Target: func(http.Handler) http.Handler { return h.receiver }})
		do(t, s)
	}))
}

// engine is a kind of database and the way in which it is backed up and restored:
// that of `enbloc backup --help`.
type engine struct {
	database func(t *testing.T) string
	backup   func(t *testing.T, database, file string)
	restore  func(t *testing.T, file, database string)
}

func sqliteFile() engine {
	return engine{
		database: func(t *testing.T) string { return filepath.Join(t.TempDir(), "enbloc.db") },
		backup: func(t *testing.T, database, file string) {
			require.NoError(t, store.Backup(context.Background(), database, file))
		},
		restore: func(t *testing.T, file, database string) {
			raw, err := os.ReadFile(file)
			require.NoError(t, err)
			for _, end := range []string{"-wal", "-shm"} {
				if err := os.Remove(database + end); err != nil {
					require.ErrorIs(t, err, os.ErrNotExist)
				}
			}
			require.NoError(t, os.WriteFile(database, raw, 0o600))
		},
	}
}

func postgresDatabase() engine {
	return engine{
		database: func(t *testing.T) string { return storetest.PostgresDatabase(t) },
		backup: func(t *testing.T, database, file string) {
			storetest.PostgresTool(t, "pg_dump", "--format=custom", "--file="+file, database)
		},
		restore: func(t *testing.T, file, database string) {
			storetest.PostgresTool(t, "pg_restore", "--clean", "--if-exists", "--dbname="+database, file)
		},
	}
}

// onEveryEngine runs a test of backups on SQLite, and on Postgres where there is one.
func onEveryEngine(t *testing.T, test func(t *testing.T, e engine)) {
	t.Helper()
	for name, e := range map[string]engine{"sqlite": sqliteFile(), "postgres": postgresDatabase()} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			test(t, e)
		})
	}
}

func requireNothingStands(t *testing.T, s *servertest.Service) {
	t.Helper()
	rows, err := s.Store.Deliveries(context.Background(), store.DeliveryQuery{Limit: 500})
	require.NoError(t, err)
	require.NotEmpty(t, rows)
	for _, d := range rows {
		require.Contains(t, []store.DeliveryState{store.Delivered, store.Superseded}, d.State, "%s %d: %s %s %s", d.CaseKey, d.Sequence, d.State, d.Reason, d.Details)
	}
}

// A backup is older than what was delivered since: a state that waited then has
// arrived, a case has moved on twice, another came as a whole. After a restore
// nothing is written again, no case stops, and the senders' repetitions settle
// everything.
func TestARestoredBackupWritesNothingAgain(t *testing.T) {
	t.Parallel()
	onEveryEngine(t, restoredBackupWritesNothingAgain)
}

func restoredBackupWritesNothingAgain(t *testing.T, e engine) {
	first := example(t, gastricReport)
	histology := example(t, gastricHistology)
	const other = "02-gastric-esd-ecura-b-delayed-bleeding/"
	waiting, third := example(t, other+"01-report.json"), example(t, "05-oesophagus-esd-80-percent-defect/01-report.json")
	amended := example(t, other+"01-report.json", "revision=2", "status=amended", "status_reason=HTEST: a word was changed.",
		"lesions/0/examination/size_long_mm=23")
	h := newHouse(t, e, first, waiting, third)
	backup := filepath.Join(t.TempDir(), "backup.db")
	var later string // the key of a case that came after the backup

	h.during("before the backup", false, func(t *testing.T, s *servertest.Service) {
		s.MustAccept("/cases", first)
		s.Settle()
	})
	h.during("the backup", true, func(t *testing.T, s *servertest.Service) {
		s.MustAccept("/cases", waiting)
		e.backup(t, h.database, backup)
	})
	h.during("after the backup", false, func(t *testing.T, s *servertest.Service) {
		s.Settle()
		s.MustAccept("/histology", histology)
		s.MustAccept("/histology", example(t, other+"02-histology.json"))
		s.Settle()
		s.MustAccept("/cases", amended)
		later = s.MustAccept("/cases", third).Case
		s.Settle()
		requireNothingStands(t, s)
	})
	written := len(h.receiver.Journal())
	e.restore(t, backup, h.database)
	h.during("after the restore", false, func(t *testing.T, s *servertest.Service) {
		require.Equal(t, http.StatusNotFound, s.Do(http.MethodGet, "/cases/"+later, nil).Status, "the database is as it was")
		s.Settle()
		requireNothingStands(t, s)
		require.Len(t, h.receiver.Journal(), written, "what waited in the backup had arrived, and more")
		// The senders repeat what they are not sure of, in their order.
		s.MustAccept("/cases", first)
		s.MustAccept("/histology", histology)
		s.MustAccept("/cases", waiting)
		s.Settle()
		s.MustAccept("/histology", example(t, other+"02-histology.json"))
		s.Settle()
		requireNothingStands(t, s)
		require.Len(t, h.receiver.Journal(), written, "a state between is found to be overtaken")
		s.MustAccept("/cases", amended)
		s.MustAccept("/cases", third)
		s.Settle()
		requireNothingStands(t, s)
		require.Len(t, h.receiver.Journal(), written, "a restore replays nothing that had arrived")
	})
	h.during("and life goes on", false, func(t *testing.T, s *servertest.Service) {
		s.MustAccept("/cases", example(t, other+"01-report.json", "revision=3", "status=amended", "status_reason=HTEST: another word.",
			"lesions/0/examination/size_long_mm=24"))
		s.Settle()
		requireNothingStands(t, s)
		require.Greater(t, len(h.receiver.Journal()), written)
	})
}

// A conflict after a restore that is one stays one: what somebody else changed
// is not taken for a later state of ours.
func TestARestoreDoesNotHideWhatOthersChanged(t *testing.T) {
	t.Parallel()
	onEveryEngine(t, restoreDoesNotHideWhatOthersChanged)
}

func restoreDoesNotHideWhatOthersChanged(t *testing.T, e engine) {
	first := example(t, gastricReport)
	h := newHouse(t, e, first)
	backup := filepath.Join(t.TempDir(), "backup.db")
	h.during("the backup", true, func(t *testing.T, s *servertest.Service) {
		s.MustAccept("/cases", first)
		e.backup(t, h.database, backup)
	})
	h.during("delivered", false, func(_ *testing.T, s *servertest.Service) { s.Settle() })
	changeAtReceiver(t, h.receiver)
	e.restore(t, backup, h.database)
	h.during("after the restore", false, func(t *testing.T, s *servertest.Service) {
		s.Settle()
		rows, err := s.Store.Deliveries(context.Background(), store.DeliveryQuery{})
		require.NoError(t, err)
		require.Equal(t, store.InConflict, rows[0].State, rows[0].Explanation)
	})
}

// changeAtReceiver lets somebody else change a Procedure there.
func changeAtReceiver(t *testing.T, r *practice.Receiver) {
	t.Helper()
	tree := r.Resources("Procedure")[0]
	tree["status"] = "stopped"
	id := tree["id"].(string)
	body, err := json.Marshal(tree)
	require.NoError(t, err)
	w, req := httptest.NewRecorder(), httptest.NewRequest(http.MethodPut, "/fhir/Procedure/"+id, bytes.NewReader(body))
	req.Header.Set("Content-Type", "application/fhir+json")
	r.ServeHTTP(w, req)
	require.Equal(t, http.StatusOK, w.Code, w.Body.String())
}

// Thinned cases work like others: a repetition changes nothing, a later part is
// delivered, what leaves a case is voided, and a withdrawal voids everything.
func TestAThinnedCaseGoesOn(t *testing.T) {
	t.Parallel()
	first, histology := example(t, gastricReport), example(t, gastricHistology)
	h := newHouse(t, sqliteFile(), first)
	var key string
	h.during("closed and thinned", false, func(t *testing.T, s *servertest.Service) {
		key = s.MustAccept("/cases", first).Case
		s.Settle()
		thinAll(t, s)
	})
	written := len(h.receiver.Journal())
	h.during("a repetition", false, func(t *testing.T, s *servertest.Service) {
		s.MustAccept("/cases", first)
		s.Settle()
		require.Len(t, h.receiver.Journal(), written)
	})
	h.during("a later part", false, func(t *testing.T, s *servertest.Service) {
		s.MustAccept("/histology", histology)
		s.Settle()
		requireNothingStands(t, s)
		require.Greater(t, len(h.receiver.Journal()), written)
		var detail struct{ Documents []any }
		s.MustGet("/cases/"+key, &detail)
		require.Len(t, detail.Documents, 2)
	})
	h.during("thinned again, then a part withdrawn", false, func(t *testing.T, s *servertest.Service) {
		thinAll(t, s)
		s.MustAccept("/histology", example(t, gastricHistology, "revision=2", "withdrawn=true", "reason=HTEST: slides were exchanged."))
		s.Settle()
		requireNothingStands(t, s)
	})
	voided := 0
	for _, r := range h.receiver.Resources("Observation") {
		if r["status"] == "entered-in-error" {
			voided++
		}
	}
	require.Positive(t, voided, "what left the case is marked")
}

func thinAll(t *testing.T, s *servertest.Service) {
	t.Helper()
	require.NoError(t, s.Store.InTx(context.Background(), func(tx *store.Tx) error {
		n, err := tx.Thin(context.Background(), time.Now().Add(time.Hour), 10)
		require.Equal(t, 1, n)
		return err
	}))
}
