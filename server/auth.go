package server

import (
	"crypto/sha256"
	"crypto/subtle"
	"net"
	"strings"

	"github.com/gin-gonic/gin"

	"enbloc/server/fault"
	"enbloc/server/target"
)

// authenticate asks for the bearer token (RFC 6750). Hashes are compared, so
// that neither content nor length of the token shows in the time it takes.
func (s *Server) authenticate(c *gin.Context) {
	if s.o.Token == "" {
		return
	}
	scheme, given, _ := strings.Cut(c.GetHeader("Authorization"), " ")
	want, got := sha256.Sum256([]byte(s.o.Token)), sha256.Sum256([]byte(strings.TrimSpace(given)))
	if !strings.EqualFold(scheme, "Bearer") || subtle.ConstantTimeCompare(want[:], got[:]) != 1 {
		s.fail(c, fault.New(fault.Unauthenticated, ""))
	}
}

// localHost refuses requests under a foreign name when no token is asked for: a
// web page that points its own name at this machine would else read cases in
// the user's browser.
func (s *Server) localHost(c *gin.Context) {
	if s.o.Token != "" {
		return
	}
	host := c.Request.Host
	if h, _, err := net.SplitHostPort(host); err == nil {
		host = h
	}
	if !target.Loopback(strings.Trim(host, "[]")) {
		s.fail(c, fault.New(fault.Forbidden, "Without a token this service answers only under localhost or a loopback address. "+
			"Use such an address, or run the service with a token."))
	}
}

// harden sets the headers of every answer: nothing is cached, sniffed, framed
// or scripted. Handlers of public documents loosen what they must.
func harden(c *gin.Context) {
	c.Header("Cache-Control", "no-store")
	c.Header("X-Content-Type-Options", "nosniff")
	c.Header("Referrer-Policy", "no-referrer")
	c.Header("Content-Security-Policy", "default-src 'none'; frame-ancestors 'none'; base-uri 'none'; form-action 'none'")
}
