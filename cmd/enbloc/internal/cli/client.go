package cli

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"enbloc/cmd/enbloc/internal/service"
)

// client asks a running service.
type client struct {
	base  string
	token string
	http  *http.Client
}

// clientFlags are the flags of commands that ask a running service.
type clientFlags struct{ server, tokenFile string }

func (f *clientFlags) add(c *cobra.Command) {
	c.Flags().StringVar(&f.server, "server", "http://"+service.DefaultListen, "address of the running service")
	c.Flags().StringVar(&f.tokenFile, "token-file", "", "file with the bearer token of the service (or ENBLOC_TOKEN)")
}

// client checks the flags; it calls nobody.
func (f *clientFlags) client(s Streams) (*client, error) {
	u, err := url.Parse(f.server)
	if err != nil || u.Host == "" || (u.Scheme != "http" && u.Scheme != "https") {
		return nil, usagef("--server is not a URL such as http://%s", service.DefaultListen)
	}
	token, err := s.secret("token", f.tokenFile)
	if err != nil {
		return nil, err
	}
	return &client{
		base: strings.TrimRight(f.server, "/"), token: token,
		http: &http.Client{Timeout: 30 * time.Second, CheckRedirect: func(*http.Request, []*http.Request) error {
			return http.ErrUseLastResponse // a redirect would carry the token elsewhere
		}},
	}, nil
}

// maxAnswer bounds what is read of one answer.
const maxAnswer = 64 << 20

// do sends one request and decodes the JSON answer into out. An answer that is
// no success is an error with the service's own words.
func (c *client) do(ctx context.Context, method, path string, body []byte, out any) error {
	req, err := http.NewRequestWithContext(ctx, method, c.base+path, bytes.NewReader(body))
	if err != nil {
		return usagef("asking the service: %w", err)
	}
	req.Header.Set("Accept", "application/json")
	if body != nil {
		req.Header.Set("Content-Type", "application/json")
	}
	if c.token != "" {
		req.Header.Set("Authorization", "Bearer "+c.token)
	}
	res, err := c.http.Do(req)
	if err != nil {
		return targetFailed(fmt.Errorf("asking the service at %s: %w\nIs it running? Start it with: enbloc serve", c.base, unwrapURL(err)))
	}
	defer res.Body.Close() //nolint:errcheck // read to its end or given up
	raw, err := io.ReadAll(io.LimitReader(res.Body, maxAnswer))
	if err != nil {
		return targetFailed(fmt.Errorf("reading the service's answer: %w", err))
	}
	if res.StatusCode >= http.StatusMultipleChoices {
		return targetFailed(refusal(res.StatusCode, raw))
	}
	if out == nil {
		return nil
	}
	if err := json.Unmarshal(raw, out); err != nil {
		return targetFailed(fmt.Errorf("the answer of %s is not what enbloc answers: is another program running there?", c.base))
	}
	return nil
}

// refusal is a problem document (RFC 9457) in words.
func refusal(status int, raw []byte) error {
	var problem struct{ Title, Detail string }
	// An answer that is no problem document is told by its status alone.
	_ = json.Unmarshal(raw, &problem)
	text := strings.TrimSpace(problem.Title + " " + problem.Detail)
	if text == "" {
		text = http.StatusText(status)
	}
	return fmt.Errorf("the service answered %d: %s", status, text)
}

// unwrapURL drops the URL that net/http puts before its errors.
func unwrapURL(err error) error {
	if e, ok := err.(*url.Error); ok { //nolint:errorlint // the outermost is the one that net/http adds
		return e.Err
	}
	return err
}

// secret reads a secret from a file, else from the environment.
func (s Streams) secret(name, file string) (string, error) {
	if file == "" {
		return s.env(envName(name)), nil
	}
	value, err := service.ReadSecret(file)
	if err != nil {
		return "", usagef("%w", err)
	}
	return value, nil
}
