package server

import (
	"errors"
	"io"
	"mime"
	"net/http"
	"strconv"
	"strings"

	"github.com/gin-gonic/gin"

	"enbloc/server/fault"
)

var refusalMediaType = &refusal{status: http.StatusUnsupportedMediaType, slug: "unsupported-media-type", issue: "not-supported",
	detail: "Only JSON is read here. Send the body as it is, in UTF-8, with the header Content-Type: application/json and no Content-Encoding."}

// limitBody lets only JSON of a bearable length in. How deep it nests is the
// decoder's business.
func (s *Server) limitBody(c *gin.Context) {
	r := c.Request
	mediaType, params, err := mime.ParseMediaType(r.Header.Get("Content-Type"))
	charset := params["charset"]
	encoding := r.Header.Get("Content-Encoding")
	switch {
	case err != nil, mediaType != mediaJSON, charset != "" && !strings.EqualFold(charset, "utf-8"), encoding != "" && !strings.EqualFold(encoding, "identity"):
		s.fail(c, refusalMediaType)
	case r.ContentLength > s.o.BodyLimit:
		s.fail(c, s.tooLarge())
	default:
		r.Body = http.MaxBytesReader(c.Writer, r.Body, s.o.BodyLimit)
	}
}

// body reads the request's body.
func (s *Server) body(c *gin.Context) ([]byte, error) {
	raw, err := io.ReadAll(c.Request.Body)
	var tooLong *http.MaxBytesError
	switch {
	case errors.As(err, &tooLong):
		return nil, s.tooLarge()
	case err != nil:
		return nil, fault.New(fault.Malformed, "The body ended before it was complete, so nothing was read of it. Send it again.")
	case len(raw) == 0:
		return nil, fault.New(fault.Malformed, "The body is empty. Send the document as the body of the request.")
	}
	return raw, nil
}

func (s *Server) tooLarge() error {
	return fault.New(fault.TooLarge, "The body is longer than "+strconv.FormatInt(s.o.BodyLimit, 10)+
		" bytes, so nothing was read of it. Images belong into the image archive and into the report by reference; send less.")
}
