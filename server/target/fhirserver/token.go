package fhirserver

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"time"
)

// TokenSource gives access tokens that end. It is safe for concurrent use.
type TokenSource interface {
	// Token is one that is good now. Its error is a [SignInError], and safe to show.
	Token(ctx context.Context) (string, error)
	// Refused takes note that the target did not take a token, so that the next
	// one is another.
	Refused(token string)
	// Grant is what the last token is good for.
	Grant() Grant
}

// Signer is a TokenSource that signs. Algorithm is that of its key, as RFC 7518
// names it; empty when it has none.
type Signer interface{ Algorithm() string }

// Grant says what a token is good for.
type Grant struct {
	// Scopes are those that the authorisation server says it granted; empty when
	// it says nothing, which means those asked for (RFC 6749 section 5.1).
	Scopes []string
	// Until is the token's end; zero when it was not said.
	Until time.Time
}

// SignInError says why there is no token. Its text names no secret.
type SignInError struct {
	// Refused: the authorisation server, or what was set for it, says no; to ask
	// again soon would be of no use.
	Refused bool
	Cause   error
	// Date is the HTTP header of that name in the authorisation server's answer:
	// an assertion is refused when clocks differ. Empty without an answer.
	Date string
}

func (e *SignInError) Error() string { return fmt.Sprintf("signing in at the target: %v", e.Cause) }

func (e *SignInError) Unwrap() error { return e.Cause }

// signedIn makes one call with a token that is good, where one is needed. A
// token that the target refuses before its end, after a restart of either
// server, is replaced once: a request that was refused did nothing.
func (c *Client) signedIn(ctx context.Context, r request) Answer {
	if c.tokens == nil {
		return c.once(ctx, r, c.bearer)
	}
	var a Answer
	for range 2 {
		token, err := c.tokens.Token(ctx)
		if err != nil {
			return notSignedIn(err)
		}
		if a = c.once(ctx, r, token); a.Status != http.StatusUnauthorized {
			return a
		}
		c.tokens.Refused(token)
	}
	return a
}

func notSignedIn(err error) Answer {
	a := Answer{RequestID: newRequestID(), NotSent: true}
	if !errors.As(err, &a.SignIn) {
		a.SignIn = &SignInError{Cause: errors.New("no token")}
	}
	a.Err = a.SignIn
	return a
}

// Algorithm is that by which the client signs when it signs in; empty when it
// signs nothing.
func (c *Client) Algorithm() string {
	if s, ok := c.tokens.(Signer); ok {
		return s.Algorithm()
	}
	return ""
}

// SignIn gets a token, to see whether that works; signs is false when the client
// has no need to.
func (c *Client) SignIn(ctx context.Context) (grant Grant, signs bool, err error) {
	if c.tokens == nil {
		return Grant{}, false, nil
	}
	_, err = c.tokens.Token(ctx)
	return c.tokens.Grant(), true, err
}

func count(all ...bool) (n int) {
	for _, one := range all {
		if one {
			n++
		}
	}
	return n
}
