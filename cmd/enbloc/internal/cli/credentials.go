package cli

import (
	"github.com/spf13/cobra"

	"enbloc/cmd/enbloc/internal/service"
)

// credentialFlags say who we are at a FHIR server, and whose word we take for
// who it is.
type credentialFlags struct {
	targetTokenFile, user, passwordFile string
	signIn                              service.SignIn
	clientSecretFile, caFile            string
	searchInURL                         bool
}

func (f *credentialFlags) add(c *cobra.Command) {
	fl := c.Flags()
	fl.StringVar(&f.targetTokenFile, "target-token-file", "", "`FILE` with a bearer token for the server (or ENBLOC_TARGET_TOKEN)")
	fl.StringVar(&f.user, "target-user", "", "user `NAME` for basic credentials")
	fl.StringVar(&f.passwordFile, "target-password-file", "", "`FILE` with the password (or ENBLOC_TARGET_PASSWORD)")
	fl.StringVar(&f.signIn.ClientID, "target-client-id", "", "`ID` of a client that signs in for tokens that end (OAuth 2.0 client credentials, SMART backend services)")
	fl.StringVar(&f.signIn.ClientKeyFile, "target-client-key-file", "", "`FILE` with the client's private key, PEM, RSA or P-384")
	fl.StringVar(&f.signIn.ClientKeyID, "target-client-key-id", "", "`NAME` of that key at the authorisation server")
	fl.StringVar(&f.clientSecretFile, "target-client-secret-file", "", "`FILE` with the client's secret, instead of a key (or ENBLOC_TARGET_CLIENT_SECRET)")
	fl.StringVar(&f.signIn.TokenURL, "target-token-url", "", "token endpoint `URL` (default the one in the server's smart-configuration)")
	fl.StringVar(&f.signIn.Scope, "target-scope", "", "`SCOPES` to ask for, apart by spaces (default \"system/*.read system/*.write\")")
	fl.BoolVar(&f.searchInURL, "target-search-in-url", false, "let identifiers of patients, encounters and staff stand in URLs, where the server takes no search by POST; its log and those in between may keep them")
	fl.StringVar(&f.caFile, "target-ca-file", "", "`FILE` with certificates, PEM, that the server's may be signed by besides those this machine knows")
}

// credentials fills a configuration, and reads the secrets.
func (s Streams) credentials(c *service.Config, f credentialFlags) (err error) {
	c.TargetUser, c.SignIn, c.CAFile, c.SearchInURL = f.user, f.signIn, f.caFile, f.searchInURL
	if c.TargetToken, err = s.secret("target-token", f.targetTokenFile); err != nil {
		return err
	}
	if c.TargetPassword, err = s.secret("target-password", f.passwordFile); err != nil {
		return err
	}
	c.ClientSecret, err = s.secret("target-client-secret", f.clientSecretFile)
	return err
}
