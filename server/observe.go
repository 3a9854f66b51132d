package server

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"regexp"
	"runtime/debug"

	"github.com/gin-gonic/gin"
	"github.com/google/uuid"
)

const requestIDKey = "request-id"

// requestIDs are the identifiers that we take from callers: UUIDs and trace
// ids. Anything else is replaced, as a name or a number of a patient could
// hide in it and it goes to the log.
var requestIDs = regexp.MustCompile(`^(?:[0-9a-fA-F]{32}|[0-9a-fA-F]{8}(?:-[0-9a-fA-F]{4}){3}-[0-9a-fA-F]{12})$`)

// identify gives the request an id, the caller's if it is one.
func (s *Server) identify(c *gin.Context) {
	id := c.GetHeader("X-Request-Id")
	if !requestIDs.MatchString(id) {
		id = uuid.NewString()
	}
	c.Set(requestIDKey, id)
	c.Header("X-Request-Id", id)
}

func requestID(c *gin.Context) string { return c.GetString(requestIDKey) }

// route is the template that the request matched, never its path.
func route(c *gin.Context) string {
	if r := c.FullPath(); r != "" {
		return r
	}
	return "unmatched"
}

// method is the request's method, if it is one of HTTP: a caller can send any
// word.
func method(c *gin.Context) string {
	switch m := c.Request.Method; m {
	case http.MethodGet, http.MethodPost, http.MethodHead, http.MethodPut, http.MethodPatch, http.MethodDelete, http.MethodOptions:
		return m
	}
	return "other"
}

// observe bounds the request, and logs and counts it when it is done.
func (s *Server) observe(c *gin.Context) {
	start := s.o.Clock()
	ctx, cancel := context.WithTimeout(c.Request.Context(), s.o.AnswerTimeout)
	defer cancel()
	c.Request = c.Request.WithContext(ctx)
	c.Next()
	took := s.o.Clock().Sub(start)
	status := c.Writer.Status()
	s.metrics.request(method(c), route(c), status, took)
	s.o.Logger.InfoContext(c.Request.Context(), "request", "method", method(c), "route", route(c), "status", status,
		"duration_ms", float64(took.Microseconds())/1000, "request_id", requestID(c))
}

// recoverPanic answers a panic as our mistake. The value may hold anything, so
// only its type is logged; the stack names code, not data.
func (s *Server) recoverPanic(c *gin.Context) {
	defer func() {
		if v := recover(); v != nil {
			s.o.Logger.ErrorContext(c.Request.Context(), "panic", "request_id", requestID(c), "route", route(c),
				"type", fmt.Sprintf("%T", v), "stack", string(debug.Stack()))
			s.fail(c, errPanic)
		}
	}()
	c.Next()
}

var errPanic = errors.New("the handler panicked")
