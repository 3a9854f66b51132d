package signin

import (
	"context"
	"encoding/json"
	"errors"
	"io"
	"net/http"

	"enbloc/server/target/fhirserver"
)

// maxDescription bounds a smart-configuration in bytes.
const maxDescription = 1 << 20

// endpoint is the token endpoint: the one that was set, or that the target
// names at the place of
// https://hl7.org/fhir/smart-app-launch/conformance.html#using-well-known. It is
// asked anew for every token, as it may move.
func (s *Source) endpoint(ctx context.Context) (string, error) {
	if s.settings.TokenURL != "" {
		return s.settings.TokenURL, nil
	}
	req, err := http.NewRequestWithContext(ctx, http.MethodGet, s.base+"/.well-known/smart-configuration", nil)
	if err != nil {
		return "", errors.New("signing in at the target: its address is malformed")
	}
	req.Header.Set("Accept", "application/json")
	res, err := s.http.Do(req)
	if err != nil {
		return "", &fhirserver.SignInError{Cause: errors.New("no answer to the question for the target's smart-configuration")}
	}
	defer res.Body.Close() //nolint:errcheck // only read
	var c struct {
		TokenEndpoint string `json:"token_endpoint"`
	}
	raw, err := io.ReadAll(io.LimitReader(res.Body, maxDescription))
	if err != nil || res.StatusCode != http.StatusOK || json.Unmarshal(raw, &c) != nil || c.TokenEndpoint == "" {
		return "", &fhirserver.SignInError{Refused: res.StatusCode == http.StatusNotFound || res.StatusCode == http.StatusOK,
			Cause: errors.New("the target's smart-configuration names no token endpoint")}
	}
	if err := secure(c.TokenEndpoint); err != nil {
		return "", &fhirserver.SignInError{Refused: true, Cause: err}
	}
	return c.TokenEndpoint, nil
}
