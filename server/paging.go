package server

import (
	"net/url"
	"regexp"
	"slices"
	"strconv"

	"github.com/gin-gonic/gin"

	"enbloc/server/fault"
)

const (
	defaultPage = 50
	largestPage = 200
)

// page is what a caller wants of a list.
type page struct {
	after string
	limit int
	query url.Values
}

// pageOf reads the query of a list. A parameter that the list does not have is
// refused: a filter that is silently ignored shows cases that nobody asked for.
func pageOf(c *gin.Context, filters ...string) (page, error) {
	p := page{limit: defaultPage, query: c.Request.URL.Query()}
	for name := range p.query {
		if name != "after" && name != "limit" && !slices.Contains(filters, name) {
			return p, fault.New(fault.Malformed, "The query has a parameter that this list does not know. The description at /openapi.json names those that it knows.")
		}
	}
	p.after = p.query.Get("after")
	if text := p.query.Get("limit"); text != "" {
		n, err := strconv.Atoi(text)
		if err != nil || n < 1 || n > largestPage {
			return p, fault.New(fault.Malformed, "The parameter limit is not a whole number from 1 to 200.")
		}
		p.limit = n
	}
	return p, nil
}

// next names the following page, empty after the last.
func (p page) next(path, cursor string) string {
	if cursor == "" {
		return ""
	}
	p.query.Set("after", cursor)
	return path + "?" + p.query.Encode()
}

// caseKeys are the only keys that a case can have; anything else in a URL is no
// case and is not looked up.
var caseKeys = regexp.MustCompile(`^c[0-9a-f]{40}$`)

func caseKey(c *gin.Context) (string, error) {
	key := c.Param("case")
	if !caseKeys.MatchString(key) {
		return "", errNoCase
	}
	return key, nil
}

var errNoCase = fault.New(fault.NotFound, "There is no such case. Its key is in the answer to the report and in the list at /cases.")
