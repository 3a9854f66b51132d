package cli

import (
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"enbloc/cmd/enbloc/internal/service"
	"enbloc/server/fault"
	"enbloc/server/store"
)

func newBackup(s Streams) *cobra.Command {
	var data, dsn, to string
	c := &cobra.Command{
		Use:     "backup --to FILE",
		GroupID: running,
		Short:   "Copy the store to a file while the service goes on",
		Long: `Copy the SQLite store to a new file, as it is at one moment, and check the copy. The
service may go on accepting and delivering meanwhile. The copy holds patient data; it
is readable for its owner only. The identity key is not in it: back that file up once,
apart from the store, as nothing can be updated without it.

To restore: stop the service, move enbloc.db, enbloc.db-wal and enbloc.db-shm away, put
the copy in their place under the name enbloc.db, and start the service. Nothing that
had arrived is written again: what stands at the target is found by its key. Documents
that were accepted after the backup are not in it; let their senders send them again.

A Postgres store is copied by its own tools, with the same promises:
  pg_dump --format=custom --file=FILE "$ENBLOC_STORE"
  pg_restore --clean --if-exists --dbname="$ENBLOC_STORE" FILE   (with every replica stopped)`,
		Example: `  enbloc backup --to /backup/enbloc-2026-03-10.db
  enbloc backup --data /var/lib/enbloc --to /backup/enbloc.db`,
		Args: none,
		RunE: func(c *cobra.Command, _ []string) error {
			if err := fromEnv(c, s.env); err != nil {
				return err
			}
			if to == "" {
				return usagef("backup needs --to FILE, a file that is not there yet\nSee: enbloc backup --help")
			}
			if dsn == "" {
				dsn = filepath.Join(data, "enbloc.db")
			}
			if strings.HasPrefix(dsn, "postgres://") || strings.HasPrefix(dsn, "postgresql://") {
				return usagef("a Postgres store is copied by pg_dump, not by this command\nSee: enbloc backup --help")
			}
			if err := store.Backup(c.Context(), dsn, to); err != nil {
				return backupFailed(err)
			}
			p := s.page()
			p.Text(0, "The store was copied to "+to+" and the copy is sound.")
			p.Text(0, "The identity key is not in it. Keep a copy of that file apart from the store.")
			return p.Err()
		},
	}
	c.Flags().StringVar(&to, "to", "", "new `FILE` for the copy (required)")
	c.Flags().StringVar(&data, "data", service.DefaultData, "`DIR` of the store")
	c.Flags().StringVar(&dsn, "store", "", "`PATH` of the SQLite file (default enbloc.db in the data folder)")
	return c
}

// backupFailed tells a wrong call from a copy that did not succeed.
func backupFailed(err error) error {
	if fault.Is(err, fault.NotFound) || fault.Is(err, fault.Conflict) {
		return usagef("%s", fault.Message(err))
	}
	return targetFailed(err)
}
