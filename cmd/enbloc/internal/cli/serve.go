package cli

import (
	"log/slog"
	"os/signal"
	"strings"
	"syscall"
	"time"

	"github.com/spf13/cobra"

	"enbloc/cmd/enbloc/internal/service"
)

// serveFlags are the flags that are not fields of the configuration as they
// stand: files of secrets, and the log.
type serveFlags struct {
	service.Config
	access              credentialFlags
	tokenFile           string
	logFormat, logLevel string
}

func newServe(s Streams) *cobra.Command {
	var f serveFlags
	c := &cobra.Command{
		Use:     "serve",
		GroupID: running,
		Short:   "Accept reports over HTTP and deliver them",
		Long: `Accept reports, histology and events over HTTP, keep them, and deliver each case to
the target. What was answered with 202 is on disk. SIGTERM or Ctrl-C ends it in good
order; what is not delivered yet goes on at the next start.

Every flag is also an environment variable: --token-file is ENBLOC_TOKEN_FILE. A flag
wins. Secrets come from files, or from ENBLOC_TOKEN, ENBLOC_TARGET_TOKEN,
ENBLOC_TARGET_PASSWORD and ENBLOC_TARGET_CLIENT_SECRET.`,
		Example: `  enbloc serve
  enbloc serve --target http://127.0.0.1:8080/fhir
  enbloc serve --listen 0.0.0.0:8700 --token-file token --target https://fhir.hospital.example/r4 --target-token-file target-token`,
		Args: none,
		RunE: func(c *cobra.Command, _ []string) error {
			if err := fromEnv(c, s.env); err != nil {
				return err
			}
			return s.serve(c, &f)
		},
	}
	f.add(c)
	return c
}

// add registers the flags in the order of service.Config.
func (f *serveFlags) add(c *cobra.Command) {
	fl := c.Flags()
	fl.SortFlags = false
	fl.StringVar(&f.Listen, "listen", service.DefaultListen, "`HOST:PORT` of the API; other than loopback only with a token")
	fl.StringVar(&f.tokenFile, "token-file", "", "`FILE` with the bearer token that callers send, at least 16 characters (or ENBLOC_TOKEN)")
	fl.StringVar(&f.Data, "data", service.DefaultData, "`DIR` of the store and the identity key")
	fl.StringVar(&f.Store, "store", "", "`PATH|URL` of a SQLite file or postgres://… (default enbloc.db in the data folder)")
	fl.StringVar(&f.KeyFile, "key-file", "", "`FILE` of the identity key, made on the first start (default identity.key in the data folder)")
	fl.StringVar(&f.Target, "target", "", "FHIR R4 base `URL` that receives the records (default none: nothing is delivered)")
	fl.StringVar(&f.TargetName, "target-name", "", "`NAME` of the target in the ledger (default made of its URL)")
	f.access.add(c)
	writingFlags(c, &f.Rung, &f.LogicalPatient)
	servesFlag(c, &f.Serves)
	fl.StringVar(&f.Patient, "patient", "", "`must-exist|logical|conditional|create`: what to do when the target does not know the patient (default must-exist)")
	fl.StringVar(&f.Dress, "target-dress", "", "`NAME` of the way records are dressed for the target: "+dressNames()+" (default base)")
	fl.IntVar(&f.MaxEntries, "target-max-entries", 0, "most entries `N` of one transaction; larger cases go in several (default any number)")
	fl.StringVar(&f.Folder, "target-folder", "", "`DIR` for files of NDJSON, with --rung 6 and without --target")
	fl.StringArrayVar(&f.Registries, "registry", nil, "settings `FILE` of a registry that gets cases pseudonymised; may be given again (see enbloc registry)")
	fl.DurationVar(&f.PreflightEvery, "preflight-every", 0, "how often to check the target and registries while running (default never)")
	fl.BoolVar(&f.VerifyAll, "verify-all", false, "read every written resource back, not only reports and a sample")
	fl.BoolVar(&f.LicensedSNOMED, "licensed-snomed", false, "the site holds a SNOMED CT licence")
	codesFlag(c, &f.CodesFile)
	profilesFlag(c, &f.NoProfiles)
	fl.StringVar(&f.Tenant, "tenant", "", "`NAME` of the site, where several share a store; never change it")
	bookFlag(c, &f.BookFile)
	fl.IntVar(&f.RetentionDays, "retention-days", 0, "after how many days outdated documents and copies of what was delivered are emptied in closed cases (default never)")
	fl.DurationVar(&f.RetryWait, "retry-wait", 0, "longest wait between two attempts, for a patient, or for a target that fails (default 10m, 1h, 5m)")
	fl.DurationVar(&f.Grace, "grace", 20*time.Second, "time for running work to end on a stop")
	fl.StringVar(&f.logFormat, "log-format", "text", "`text|json` on standard error")
	fl.StringVar(&f.logLevel, "log-level", "info", "`debug|info|warn|error`")
}

func (s Streams) serve(c *cobra.Command, f *serveFlags) error {
	if f.RetryWait < 0 {
		return usagef("--retry-wait %s is no time to wait", f.RetryWait)
	}
	if f.Grace <= 0 {
		return usagef("--grace %s is no time to end anything in", f.Grace)
	}
	log, err := s.logger(f.logFormat, f.logLevel)
	if err != nil {
		return err
	}
	for _, secret := range []struct {
		into       *string
		name, file string
	}{
		{&f.Token, "token", f.tokenFile},
		{&f.RecipientSecret, "recipient-secret", ""},
	} {
		if *secret.into, err = s.secret(secret.name, secret.file); err != nil {
			return err
		}
	}
	if err := s.credentials(&f.Config, f.access); err != nil {
		return err
	}
	ctx, stop := signal.NotifyContext(c.Context(), syscall.SIGTERM, syscall.SIGINT)
	defer stop()
	program, err := service.New(ctx, f.Config, version(), log)
	if err != nil {
		return err
	}
	if f.Target == "" && f.Folder == "" && len(f.Registries) == 0 {
		log.WarnContext(ctx, "no target is set: reports are kept, but those accepted now are not delivered later either")
	}
	err = program.Run(ctx, func(address string) {
		log.InfoContext(ctx, "serving", "address", "http://"+address, "target", f.Target, "version", version())
	})
	if err != nil {
		return targetFailed(err)
	}
	log.InfoContext(c.Context(), "stopped")
	return nil
}

// logger writes structured lines to standard error.
func (s Streams) logger(format, level string) (*slog.Logger, error) {
	var l slog.Level
	if err := l.UnmarshalText([]byte(level)); err != nil {
		return nil, usagef("--log-level %q is none of debug, info, warn, error", level)
	}
	options := &slog.HandlerOptions{Level: l}
	switch strings.ToLower(format) {
	case "text":
		return slog.New(slog.NewTextHandler(s.Err, options)), nil
	case "json":
		return slog.New(slog.NewJSONHandler(s.Err, options)), nil
	}
	return nil, usagef("--log-format %q is neither text nor json", format)
}
