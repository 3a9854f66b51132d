package service

import (
	"errors"
	"fmt"
	"net"
	"net/url"
	"path/filepath"
	"regexp"
	"time"

	"enbloc/mapping/dress"
	"enbloc/server/delivery"
	"enbloc/server/target"
)

// Config says how one service runs. It is the manual of `enbloc serve`: each
// field is one flag and one environment variable, in this order.
type Config struct {
	// Listen is the address of the HTTP API, host:port. The default is the
	// loopback address 127.0.0.1:8700; port 0 takes a free port. Any other
	// address than a loopback one is refused without a Token, as reports hold
	// patient data.
	Listen string
	// Token is the bearer token that every caller must send, at least 16
	// characters. Empty: no token is asked for, on loopback only.
	Token string
	// Data is the folder of the identity key and, by default, of the store. It
	// is made, readable for its owner only, when it is not there.
	Data string
	// Store is the path of a SQLite file or a postgres:// URL. Empty:
	// enbloc.db in Data. Only one service may use a SQLite file.
	Store string
	// KeyFile is the file of the identity key, 64 hexadecimal digits, from
	// which every identity the site sends is made. Empty: identity.key in
	// Data. It is made on the first start, and never again once the store
	// holds a case: under another key every record would be written twice.
	KeyFile string
	// Target is the FHIR R4 base URL that receives the records. Empty: reports
	// are accepted, checked and kept, and nothing is delivered.
	Target string
	// TargetName is the name under which the ledger keeps the target. Empty: it
	// is made of the URL. Set it to the former name when the same server moves
	// to another address, and only then.
	TargetName string
	// TargetToken is a bearer token for the target; TargetUser and
	// TargetPassword are basic credentials; SignIn gets tokens that end. At most
	// one of the three kinds, and over plain http only to a loopback address.
	TargetToken, TargetUser, TargetPassword string
	SignIn
	// CAFile holds certificates in PEM that the target's may be signed by,
	// besides those that this machine believes.
	CAFile string
	// SearchInURL lets identifiers stand in URLs where the target takes no search
	// by POST.
	SearchInURL bool
	// Rung is how resources are written, 1 to 6; enbloc preflight says which. 0:
	// that of the last preflight that was kept, else 2.
	Rung int
	// Dress names the dressing of the records for the target: see mapping/dress.
	// Empty: base R4. A dressing that makes documents goes with rung 5 only.
	Dress string
	// MaxEntries bounds the entries of one transaction; 0: any number.
	MaxEntries int
	// Folder is where rung 6 puts its files; only for it, and instead of Target.
	Folder string
	// Serves says whose data the target may get: patients or test. Empty: test
	// for a practice receiver, else patients.
	Serves string
	// PreflightEvery is how often the target, and the servers of registries, are
	// checked while the service runs; 0: never.
	PreflightEvery time.Duration
	// Patient is what to do about a patient whom the target does not know:
	// must-exist, logical, conditional or create. Empty: must-exist.
	Patient string
	// LogicalPatient delivers even when the target does not know the patient,
	// by the patient's identifier alone. Off: the delivery waits until the
	// patient is there.
	LogicalPatient bool
	// VerifyAll reads every written resource back; off: every report and a
	// sample of the rest.
	VerifyAll bool
	// Registries are settings files of recipients that get cases pseudonymised:
	// see [Recipient]. Each is a target beside Target, with rows and a ledger of
	// its own.
	Registries []string
	// RecipientSecret is the secret of a recipient whose file names none.
	RecipientSecret string
	// LicensedSNOMED declares that the site holds a SNOMED CT licence, so that
	// codes outside the free set may be sent. Off: own code and text instead.
	LicensedSNOMED bool
	// CodesFile is a FHIR ConceptMap from our concepts to the site's own codes,
	// which are then sent beside ours. What it leaves out is listed at the start.
	CodesFile string
	// NoProfiles leaves out the claims in meta.profile. For a target that
	// refuses resources which claim a profile that it does not know.
	NoProfiles bool
	// Tenant names the site where several share one store. It enters every
	// identity: never change it once something was delivered.
	Tenant string
	// BookFile is a JSON file that says which guidelines and rules are on.
	// Empty: the default book.
	BookFile string
	// RetentionDays is after how many days without a change a closed case is
	// thinned: documents that no longer count and copies of what was delivered
	// lose their content, while hashes, ids and the present documents stay. 0:
	// never.
	RetentionDays int
	// RetryWait caps the waits between attempts at a delivery, for a patient, and
	// for a target that fails. 0: up to 10 min, 1 h and 5 min.
	RetryWait time.Duration
	// Grace is how long running requests and deliveries may take to end after
	// a stop was asked for. 0 means 20 s.
	Grace time.Duration
}

// Defaults of a Config.
const (
	DefaultListen = "127.0.0.1:8700"
	DefaultData   = "enbloc-data"
	defaultGrace  = 20 * time.Second
	minToken      = 16
)

var targetNames = regexp.MustCompile(`^[A-Za-z0-9._-]{1,64}$`)

// complete fills the defaults and refuses what cannot work or would expose
// patient data. The errors say what to do.
func (c *Config) complete() error {
	fill(&c.Listen, DefaultListen)
	fill(&c.Data, DefaultData)
	fill(&c.Store, filepath.Join(c.Data, "enbloc.db"))
	fill(&c.KeyFile, filepath.Join(c.Data, KeyName))
	if c.Grace <= 0 {
		c.Grace = defaultGrace
	}
	if c.RetentionDays < 0 {
		return errors.New("a retention of less than 0 days does not exist: use 0 to keep everything")
	}
	return errors.Join(c.checkListen(), c.checkTarget())
}

func (c *Config) checkListen() error {
	host, _, err := net.SplitHostPort(c.Listen)
	if err != nil {
		return fmt.Errorf("listen address %q is not host:port, such as %s", c.Listen, DefaultListen)
	}
	if c.Token == "" && !target.Loopback(host) {
		return fmt.Errorf("listening on %s without a token would show patient data to the network: "+
			"set --token-file (or ENBLOC_TOKEN), or listen on %s", c.Listen, DefaultListen)
	}
	if c.Token != "" && len(c.Token) < minToken {
		return fmt.Errorf("the token is shorter than %d characters: make one with: openssl rand -hex 32", minToken)
	}
	return nil
}

func (c *Config) checkTarget() error {
	if err := c.checkWriting(); err != nil {
		return err
	}
	if c.TargetToken != "" && c.TargetUser != "" || c.ClientID != "" && c.TargetToken+c.TargetUser != "" {
		return errors.New("the target has more than one of a token, a user and a client id: give one kind of credentials")
	}
	if c.ClientID == "" && c.SignIn != (SignIn{}) {
		return errors.New("signing in at the target needs a client id")
	}
	if (c.TargetPassword != "") != (c.TargetUser != "") {
		return errors.New("basic credentials of the target need both a user and a password")
	}
	if c.TargetName != "" && !targetNames.MatchString(c.TargetName) {
		return errors.New("the target's name may have 1 to 64 letters, digits, dots, hyphens and underscores")
	}
	if c.Target == "" {
		return nil
	}
	u, err := url.Parse(c.Target)
	if err != nil || u.Host == "" || (u.Scheme != "http" && u.Scheme != "https") {
		return errors.New("the target is not a URL such as https://fhir.hospital.example/r4")
	}
	if u.User != nil {
		return errors.New("the target's URL holds credentials: give them by --target-user and --target-password-file")
	}
	if c.TargetToken+c.TargetPassword+c.ClientID != "" && u.Scheme == "http" && !target.Loopback(u.Hostname()) {
		return errors.New("credentials would travel unencrypted: use https for the target")
	}
	return nil
}

func (c *Config) checkWriting() error {
	if _, ok := delivery.RungNumbered(c.Rung); c.Rung != 0 && !ok {
		return fmt.Errorf("rung %d does not exist: use 1 to %d, or 0 for that of the last preflight", c.Rung, delivery.LastRung)
	}
	if (c.Rung == delivery.RungFile) != (c.Folder != "") {
		return errors.New("files need both --rung 6 and --target-folder, and no other rung has a folder")
	}
	if dressing, err := dress.Named(c.Dress); err != nil {
		return err
	} else if dressing.Document && c.Rung != delivery.RungDocument {
		return fmt.Errorf("the dressing %s makes documents: it goes with --rung %d only", dressing.Name, delivery.RungDocument)
	}
	if c.MaxEntries < 0 || c.MaxEntries == 1 {
		return errors.New("a transaction has room for 2 entries at least: use 0 for any number")
	}
	if c.Folder != "" && c.Target != "" {
		return errors.New("a folder for files goes without a target: leave one of the two out")
	}
	switch delivery.Audience(c.Serves) {
	case "", delivery.ForPatients, delivery.ForTests:
	default:
		return fmt.Errorf("a target serves patients or test, not %q", c.Serves)
	}
	switch delivery.PatientPolicy(c.Patient) {
	case "", delivery.PatientMustExist, delivery.PatientLogical, delivery.PatientConditional, delivery.PatientCreate:
		return nil
	}
	return fmt.Errorf("%q is no way to treat an unknown patient: use must-exist, logical, conditional or create", c.Patient)
}

func fill(field *string, value string) {
	if *field == "" {
		*field = value
	}
}
