package server

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"strings"

	"github.com/gin-gonic/gin"
)

// write answers with a value as JSON.
func write(c *gin.Context, status int, mediaType string, value any) {
	body, err := encode(value)
	if err != nil { // our own types always encode
		c.AbortWithStatus(http.StatusInternalServerError)
		return
	}
	c.Data(status, mediaType, body)
}

// encode is JSON without escapes for HTML, which no reader of JSON needs: µ, <
// and & stay readable.
func encode(value any) ([]byte, error) {
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	if err := e.Encode(value); err != nil {
		return nil, err
	}
	return b.Bytes(), nil
}

// typesOf names the types of an error chain, and none of its texts.
func typesOf(err error) string {
	var names []string
	for ; err != nil; err = errors.Unwrap(err) {
		names = append(names, fmt.Sprintf("%T", err))
	}
	return "unforeseen: " + strings.Join(names, " < ")
}
