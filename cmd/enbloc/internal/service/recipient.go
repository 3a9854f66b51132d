package service

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/url"
	"os"
	"path/filepath"
	"time"

	"enbloc/mapping/pseudo"
	"enbloc/server/consent"
	"enbloc/server/delivery"
	"enbloc/server/target"
)

// Recipient is a registry, as its settings file says; the file is JSON, and the
// paths in it count from its folder:
//
//	{"kind": "registry", "recipient": "national", "secret_file": "national.secret",
//	 "dates": "shift",
//	 "consent": {"rule": "opt-out", "file": "opted-out.txt"},
//	 "target": {"url": "https://registry.example/fhir", "token_file": "national.token"}}
type Recipient struct {
	// Kind is "registry".
	Kind string `json:"kind"`
	// Name, SecretFile, System and Dates are those of [pseudo.Settings]. Instead
	// of SecretFile the secret may stand in the environment variable
	// ENBLOC_RECIPIENT_SECRET.
	Name       string       `json:"recipient"`
	SecretFile string       `json:"secret_file"`
	System     string       `json:"system"`
	Dates      pseudo.Dates `json:"dates"`
	// AllowFile is an allow-list; empty means the built-in one.
	AllowFile string `json:"allow_file"`
	// Consent is who is asked before a case is sent. It is needed to send and to
	// export.
	Consent *ConsentSettings `json:"consent"`
	// Target is where the cases go; without it they can be exported only.
	Target *RecipientTarget `json:"target"`
}

// ConsentSettings are one of: a list of patients in a file with a rule, a URL to
// ask, or the statement that nobody has to be asked.
type ConsentSettings struct {
	// Rule is opt-out (who is on the list has objected), opt-in (only who is on it
	// has agreed) or none (nobody has to be asked).
	Rule consent.Rule `json:"rule"`
	File string       `json:"file"`
	// URL is asked for every case; see [consent.Hook].
	URL       string `json:"url"`
	TokenFile string `json:"token_file"`
	// Every is how often cases already sent are asked for again; empty: 1h.
	Every string `json:"every"`
}

// RecipientTarget is a FHIR server, with the fields of Config of the same names.
type RecipientTarget struct {
	URL          string `json:"url"`
	Name         string `json:"name"`
	TokenFile    string `json:"token_file"`
	User         string `json:"user"`
	PasswordFile string `json:"password_file"`
	// Those of SignIn, and CAFile.
	ClientID         string `json:"client_id"`
	ClientKeyFile    string `json:"client_key_file"`
	ClientKeyID      string `json:"client_key_id"`
	ClientSecretFile string `json:"client_secret_file"`
	TokenURL         string `json:"token_url"`
	Scope            string `json:"scope"`
	CAFile           string `json:"ca_file"`
	Rung             int    `json:"rung"`
	MaxEntries       int    `json:"max_entries"`
	Serves           string `json:"serves"`
	// Patient is logical, create or must-exist; empty: logical, as a registry
	// knows no patient before the first case.
	Patient   string `json:"patient"`
	VerifyAll bool   `json:"verify_all"`
}

// noConsent is the Rule of a site where nobody has to be asked.
const noConsent consent.Rule = "none"

// Registry is a recipient ready to work.
type Registry struct {
	Recipient
	Pseudo  *pseudo.Recipient
	Consent consent.Source // nil when the file says nothing of it
	Every   time.Duration
	folder  string
}

// LoadRegistry reads a settings file and what it names. Its errors hold no
// secret.
func LoadRegistry(path string, env func(string) string) (*Registry, error) {
	raw, err := readBounded(path, maxBook)
	if err != nil {
		return nil, fmt.Errorf("reading recipient file: %w", err)
	}
	r := &Registry{folder: filepath.Dir(path)}
	d := json.NewDecoder(bytes.NewReader(raw))
	d.DisallowUnknownFields()
	if err := d.Decode(&r.Recipient); err == nil && r.Kind != "registry" {
		err = errors.New(`its "kind" is not "registry"`)
		return nil, fmt.Errorf("reading recipient file %s: %w", path, err)
	} else if err != nil {
		return nil, fmt.Errorf("reading recipient file %s: %w", path, err)
	}
	if err := r.complete(env); err != nil {
		return nil, fmt.Errorf("reading recipient file %s: %w", path, err)
	}
	return r, nil
}

func (r *Registry) complete(env func(string) string) error {
	settings := pseudo.Settings{Name: r.Name, System: r.System, Dates: r.Dates, Secret: []byte(env("ENBLOC_RECIPIENT_SECRET"))}
	if r.SecretFile != "" {
		secret, err := ReadSecret(r.path(r.SecretFile))
		if err != nil {
			return err
		}
		settings.Secret = []byte(secret)
	}
	if r.AllowFile != "" {
		raw, err := readBounded(r.path(r.AllowFile), maxBook)
		if err != nil {
			return err
		}
		if settings.Allow, err = pseudo.ReadAllowList(raw); err != nil {
			return err
		}
	}
	var err error
	if r.Pseudo, err = pseudo.New(settings); err != nil {
		return err
	}
	return r.asking()
}

// asking makes the source of consent.
func (r *Registry) asking() error {
	c := r.Recipient.Consent
	if c == nil {
		return nil
	}
	r.Every = time.Hour
	if c.Every != "" {
		every, err := time.ParseDuration(c.Every)
		if err != nil || every < time.Second {
			return errors.New(`"every" of the consent is not a time of a second or more, such as 30m`)
		}
		r.Every = every
	}
	listed := c.Rule == consent.OptOut || c.Rule == consent.OptIn
	switch {
	case listed && c.File != "" && c.URL == "":
		r.Consent = consent.File{Path: r.path(c.File), Rule: c.Rule}
	case c.Rule == "" && c.URL != "" && c.File == "":
		u, err := url.Parse(c.URL)
		if err != nil || u.Host == "" || u.Scheme != "https" && (u.Scheme != "http" || !target.Loopback(u.Hostname())) {
			return errors.New("the address asked for consent is not https://…, nor on this machine")
		}
		hook := consent.Hook{URL: c.URL, Recipient: r.Name}
		if c.TokenFile != "" {
			if hook.Token, err = ReadSecret(r.path(c.TokenFile)); err != nil {
				return err
			}
		}
		r.Consent = hook
	case c.Rule == noConsent && c.File == "" && c.URL == "":
		r.Consent = consent.Always{}
	default:
		return errors.New(`the consent needs a "rule" of opt-out or opt-in with a "file", or a "url", or the rule "none" where nobody has to be asked`)
	}
	return nil
}

// Config is the target as the configuration of a service has it.
func (r *Registry) config() (Config, error) {
	t := r.Target
	switch {
	case t == nil:
		return Config{}, fmt.Errorf(`the recipient %s has no "target": add one, or use enbloc registry export`, r.Name)
	case r.Consent == nil:
		return Config{}, fmt.Errorf(`the recipient %s has no "consent": say who is asked before a case is sent`, r.Name)
	case t.Rung >= delivery.RungDocument:
		return Config{}, fmt.Errorf("the recipient %s cannot be written by rung %d: documents hold texts, and files are made by enbloc registry export", r.Name, t.Rung)
	case t.Patient == string(delivery.PatientConditional):
		return Config{}, fmt.Errorf("the recipient %s cannot treat patients as conditional: use logical, create or must-exist", r.Name)
	}
	c := Config{Target: t.URL, TargetName: t.Name, TargetUser: t.User, Rung: t.Rung, MaxEntries: t.MaxEntries, Serves: t.Serves, Patient: t.Patient, VerifyAll: t.VerifyAll,
		SignIn: SignIn{ClientID: t.ClientID, ClientKeyID: t.ClientKeyID, TokenURL: t.TokenURL, Scope: t.Scope}}
	for _, file := range []struct {
		into *string
		name string
	}{{&c.ClientKeyFile, t.ClientKeyFile}, {&c.CAFile, t.CAFile}} {
		if file.name != "" {
			*file.into = r.path(file.name)
		}
	}
	fill(&c.Patient, string(delivery.PatientLogical))
	fill(&c.TargetName, "registry-"+r.Name)
	for _, secret := range []struct {
		into *string
		file string
	}{{&c.TargetToken, t.TokenFile}, {&c.TargetPassword, t.PasswordFile}, {&c.ClientSecret, t.ClientSecretFile}} {
		if secret.file == "" {
			continue
		}
		value, err := ReadSecret(r.path(secret.file))
		if err != nil {
			return c, err
		}
		*secret.into = value
	}
	if c.Target == "" {
		return c, fmt.Errorf(`the target of the recipient %s has no "url"`, r.Name)
	}
	return c, c.checkTarget()
}

// path is a path of the settings file.
func (r *Registry) path(name string) string {
	if filepath.IsAbs(name) {
		return name
	}
	return filepath.Join(r.folder, name)
}

func readBounded(path string, most int64) ([]byte, error) {
	f, err := os.Open(filepath.Clean(path))
	if err != nil {
		return nil, err
	}
	defer f.Close() //nolint:errcheck // nothing was written
	raw, err := io.ReadAll(io.LimitReader(f, most+1))
	if err == nil && int64(len(raw)) > most {
		err = fmt.Errorf("%s has more than %d bytes", path, most)
	}
	return bytes.TrimPrefix(raw, []byte("\ufeff")), err
}

// exampleSecret serves a preview without settings. It is no secret.
const exampleSecret = "enbloc example secret of a recipient, not a secret"

// ExampleRegistry is a recipient for looking at, not for sending.
func ExampleRegistry() (*Registry, error) {
	p, err := pseudo.New(pseudo.Settings{Name: "example", Secret: []byte(exampleSecret)})
	return &Registry{Recipient: Recipient{Kind: "registry", Name: "example"}, Pseudo: p}, err
}
