package server

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"net/http"
	"strings"
	"sync"
	"time"

	"github.com/gin-gonic/gin"

	"enbloc/server/fault"
	"enbloc/server/intake"
	"enbloc/server/store"
)

// The Idempotency-Key header, after draft-ietf-httpapi-idempotency-key-header:
// the same key with the same request is answered as the first time, with
// another request 422, and while the first still runs 409. An answer is kept in
// the transaction of its effect, so only accepted documents use a key up; a
// refused one left nothing behind and is simply judged again.

const (
	idempotencyHeader = "Idempotency-Key"
	longestKey        = 255
)

var (
	errKeyForm = fault.New(fault.Malformed, "The Idempotency-Key is empty, longer than 255 characters, or not of visible ASCII characters. "+
		"Send a fresh UUID for each document.")
	errKeyRuns = &fault.Error{Kind: fault.Conflict, RetryAfter: time.Second,
		Message: "A request with this Idempotency-Key is being worked on at the moment. Send it again a second later."}
	refusalKeyUsed = &refusal{status: http.StatusUnprocessableEntity, slug: "idempotency-key-reused", issue: "invalid",
		detail: "This Idempotency-Key was used for another request. One key stands for one request: send the new document under a fresh key."}
)

// inUse are the keys of requests that are running in this process.
type inUse struct{ keys sync.Map }

// guard watches over one request with an idempotency key; without one it does
// nothing.
type guard struct {
	s         *Server
	key, hash string
	stored    *store.Answer
	release   func()
	keep      intake.Within
}

// guard reads the header and finds out whether the request was answered before.
func (s *Server) guard(c *gin.Context, raw []byte) (*guard, error) {
	g := &guard{s: s, release: func() {}}
	if len(c.Request.Header.Values(idempotencyHeader)) == 0 {
		return g, nil
	}
	var ok bool
	if g.key, ok = idempotencyKey(c.GetHeader(idempotencyHeader)); !ok {
		return nil, errKeyForm
	}
	sum := sha256.Sum256(append([]byte(route(c)+"\n"), raw...))
	g.hash = hex.EncodeToString(sum[:])
	if _, running := s.keys.keys.LoadOrStore(g.key, true); running {
		return nil, errKeyRuns
	}
	g.release = func() { s.keys.keys.Delete(g.key) }
	answer, err := s.o.Store.Answer(c.Request.Context(), s.o.Tenant, g.key)
	switch {
	case fault.Is(err, fault.NotFound):
		g.keep = g.keepIn
		return g, nil
	case err == nil && answer.RequestHash != g.hash:
		err = refusalKeyUsed
	}
	if err != nil {
		g.release()
		return nil, err
	}
	g.stored = &answer
	return g, nil
}

// replayed answers as the first time.
func (g *guard) replayed(c *gin.Context) bool {
	if g.stored == nil {
		return false
	}
	defer g.release()
	var links struct {
		Links map[string]string `json:"links"`
	}
	if json.Unmarshal(g.stored.Body, &links) == nil {
		c.Header("Location", links.Links["self"])
	}
	c.Data(g.stored.Status, g.stored.ContentType, g.stored.Body)
	return true
}

// keepIn keeps the answer in the transaction of its effect.
func (g *guard) keepIn(ctx context.Context, tx *store.Tx, r intake.Receipt) error {
	body, err := encode(linked(r))
	if err != nil {
		return fault.Wrap("encoding answer", fault.Internal, err)
	}
	err = tx.KeepAnswer(ctx, g.s.o.Tenant, g.key, store.Answer{
		RequestHash: g.hash, Status: http.StatusAccepted, ContentType: mediaJSON, Body: body, Created: g.s.o.Clock(),
	})
	if fault.Is(err, fault.Conflict) {
		// Another process was faster with the same key.
		return errKeyRuns
	}
	return err
}

// idempotencyKey reads the header's value: a structured string in quotes, as
// the draft has it, or bare, as many clients send it.
func idempotencyKey(value string) (string, bool) {
	value = strings.TrimSpace(value)
	if len(value) > 1 && strings.HasPrefix(value, `"`) && strings.HasSuffix(value, `"`) {
		value = value[1 : len(value)-1]
	}
	if value == "" || len(value) > longestKey {
		return "", false
	}
	visible := func(r rune) bool { return r > ' ' && r <= '~' }
	return value, strings.IndexFunc(value, func(r rune) bool { return !visible(r) }) < 0
}

// forgetAnswers removes old answers once an hour until the context ends.
func (s *Server) forgetAnswers(ctx context.Context) {
	tick := time.NewTicker(time.Hour)
	defer tick.Stop()
	for {
		err := s.o.Store.InTx(ctx, func(tx *store.Tx) error {
			_, err := tx.ForgetAnswers(ctx, s.o.Clock().Add(-s.o.AnswersKept))
			return err
		})
		if err != nil && ctx.Err() == nil {
			s.o.Logger.WarnContext(ctx, "forgetting old answers", "error", loggable(err))
		}
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
	}
}
