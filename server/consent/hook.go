package consent

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"time"

	"enbloc/mapping/report"
)

// Hook asks a service of the hospital. It posts
//
//	{"recipient": "…", "patient": {"system": "…", "value": "…"}}
//
// and takes 200 with {"send": true} or {"send": false} for an answer, nothing
// else. Redirects are not followed: the patient's identifier goes nowhere else.
type Hook struct {
	URL, Recipient string
	// Token is sent as a bearer token; empty for none.
	Token string
	// Client is the HTTP client; nil means one with a timeout of 10 s.
	Client *http.Client
}

const (
	hookTimeout = 10 * time.Second
	maxAnswer   = 64 << 10
)

// Allows asks.
func (h Hook) Allows(ctx context.Context, patient report.Identifier) (bool, error) {
	ctx, cancel := context.WithTimeout(ctx, hookTimeout)
	defer cancel()
	question, err := json.Marshal(map[string]any{"recipient": h.Recipient, "patient": map[string]string{"system": patient.System, "value": patient.Value}})
	if err != nil {
		return false, errors.New("asking for consent: the question could not be written")
	}
	req, err := http.NewRequestWithContext(ctx, http.MethodPost, h.URL, bytes.NewReader(question))
	if err != nil {
		return false, errors.New("asking for consent: the address cannot be used")
	}
	req.Header.Set("Content-Type", "application/json")
	req.Header.Set("Accept", "application/json")
	if h.Token != "" {
		req.Header.Set("Authorization", "Bearer "+h.Token)
	}
	res, err := h.client().Do(req)
	if err != nil {
		return false, errors.New("asking for consent: no answer")
	}
	defer res.Body.Close() //nolint:errcheck // nothing was written
	raw, err := io.ReadAll(io.LimitReader(res.Body, maxAnswer))
	if err != nil || res.StatusCode != http.StatusOK {
		return false, fmt.Errorf("asking for consent: answered %d", res.StatusCode)
	}
	var answer struct {
		Send *bool `json:"send"`
	}
	if json.Unmarshal(raw, &answer) != nil || answer.Send == nil {
		return false, errors.New(`asking for consent: the answer has no "send"`)
	}
	return *answer.Send, nil
}

func (h Hook) client() *http.Client {
	c := http.Client{Timeout: hookTimeout}
	if h.Client != nil {
		c = *h.Client
	}
	c.CheckRedirect = func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }
	return &c
}
