// Package terminology asks a FHIR R4 terminology server whether it knows a code.
//
// It promises to send codes of the code table and nothing else, to follow no
// redirect, and to send credentials over https or to this machine only.
package terminology

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"strings"
	"time"
	"unicode"

	"enbloc/server/target"
)

const (
	requestTimeout = 30 * time.Second
	maxAnswer      = 1 << 20 // bytes; a verdict has a few hundred
	maxMessage     = 200     // characters of what a server says, for one line
)

// Client asks one server.
type Client struct {
	address, token string
	http           *http.Client
}

// New returns a client for the FHIR base URL; the token may be empty. It calls
// nobody.
func New(base, token string) (*Client, error) {
	u, err := url.Parse(base)
	switch {
	case err != nil || u.Host == "" || u.Scheme != "http" && u.Scheme != "https":
		return nil, errors.New("the address of the terminology server is not a FHIR base URL such as https://tx.hospital.example/r4")
	case u.User != nil || u.RawQuery != "":
		return nil, errors.New("the address of the terminology server may hold neither credentials nor a query")
	case token != "" && u.Scheme == "http" && !target.Loopback(u.Hostname()):
		return nil, errors.New("the token would travel unencrypted: use https for the terminology server")
	}
	return &Client{address: strings.TrimRight(base, "/") + "/CodeSystem/$validate-code", token: token,
		http: &http.Client{Timeout: requestTimeout, CheckRedirect: func(*http.Request, []*http.Request) error {
			return http.ErrUseLastResponse
		}}}, nil
}

// Verdict is what a server says about a code.
type Verdict struct {
	// Answered is false when the server gave no verdict, for example because it
	// does not have the code system.
	Answered bool
	Valid    bool
	Message  string // in the server's words, one line; "" when it said nothing
}

// Ask puts one code to the server (hl7.org/fhir/R4/codesystem-operation-validate-code.html).
// An error means that the server could not be reached or is none of this kind.
func (c *Client) Ask(ctx context.Context, system, code, display string) (Verdict, error) {
	body, err := question(system, code, display)
	if err != nil {
		return Verdict{}, err
	}
	req, err := http.NewRequestWithContext(ctx, http.MethodPost, c.address, bytes.NewReader(body))
	if err != nil {
		return Verdict{}, fmt.Errorf("making request: %w", err)
	}
	req.Header.Set("Content-Type", "application/fhir+json")
	req.Header.Set("Accept", "application/fhir+json")
	if c.token != "" {
		req.Header.Set("Authorization", "Bearer "+c.token)
	}
	res, err := c.http.Do(req)
	if err != nil {
		return Verdict{}, fmt.Errorf("asking the terminology server: %w", err)
	}
	defer res.Body.Close() //nolint:errcheck // read to its end or given up
	raw, err := io.ReadAll(io.LimitReader(res.Body, maxAnswer))
	if err != nil {
		return Verdict{}, fmt.Errorf("reading the terminology server's answer: %w", err)
	}
	return verdict(res.StatusCode, raw)
}

type parameter struct {
	Name    string `json:"name"`
	URI     string `json:"valueUri,omitempty"`
	Code    string `json:"valueCode,omitempty"`
	String  string `json:"valueString,omitempty"`
	Boolean *bool  `json:"valueBoolean,omitempty"`
}

type parameters struct {
	ResourceType string      `json:"resourceType"`
	Parameter    []parameter `json:"parameter"`
	// Issue is that of an OperationOutcome, which stands in the place of a verdict.
	Issue []struct{ Diagnostics string } `json:"issue,omitempty"`
}

func question(system, code, display string) ([]byte, error) {
	p := parameters{ResourceType: "Parameters", Parameter: []parameter{{Name: "url", URI: system}, {Name: "code", Code: code}}}
	if display != "" {
		p.Parameter = append(p.Parameter, parameter{Name: "display", String: display})
	}
	return json.Marshal(p)
}

// verdict reads an answer. A refusal of the credentials, or an answer that is
// no FHIR, is an error: every further question would meet it too.
func verdict(status int, raw []byte) (Verdict, error) {
	if status == http.StatusUnauthorized || status == http.StatusForbidden {
		return Verdict{}, fmt.Errorf("the terminology server answered %d: give its token by --validate-token-file", status)
	}
	var p parameters
	if json.Unmarshal(raw, &p) != nil || p.ResourceType == "" {
		return Verdict{}, fmt.Errorf("the terminology server answered %d with something that is not FHIR: is the address its FHIR base URL?", status)
	}
	v := Verdict{Message: fmt.Sprintf("answered %d without a verdict", status)}
	for _, issue := range p.Issue {
		if said := line(issue.Diagnostics); said != "" {
			v.Message = said
			break
		}
	}
	for _, part := range p.Parameter {
		if part.Name == "result" && part.Boolean != nil {
			v = Verdict{Answered: true, Valid: *part.Boolean}
		}
	}
	for _, part := range p.Parameter {
		if part.Name == "message" {
			v.Message = line(part.String)
		}
	}
	if v.Answered && !v.Valid && unheld(p.Parameter, v.Message) {
		v.Answered = false
	}
	return v, nil
}

// unheld reports whether a refusal only says that the server does not have the
// code system. R4 gives it no form of its own, so servers answer "false" and say
// why beside it: by a parameter that HL7's terminology servers have agreed on,
// or in words (HAPI 8.8's first two, HL7's own server's third). In other words
// it stays a refusal, with its message.
func unheld(parts []parameter, message string) bool {
	for _, part := range parts {
		if part.Name == "x-caused-by-unknown-system" || part.Name == "x-unknown-system" {
			return true
		}
	}
	for _, words := range []string{"CodeSystem is unknown and can't be validated", "unable to provide validation for", "could not be found, so the code cannot be validated"} {
		if strings.Contains(message, words) {
			return true
		}
	}
	return false
}

// line makes what a server says fit for one line of a terminal.
func line(s string) string {
	s = strings.Join(strings.FieldsFunc(s, func(r rune) bool { return unicode.IsSpace(r) || !unicode.IsPrint(r) }), " ")
	if runes := []rune(s); len(runes) > maxMessage {
		return string(runes[:maxMessage]) + " …"
	}
	return s
}
