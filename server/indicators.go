package server

import (
	"bytes"
	"context"
	"errors"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/gin-gonic/gin"

	"enbloc/mapping/indicator"
	"enbloc/mapping/table"
	"enbloc/server/export"
	"enbloc/server/fault"
)

// indicatorParameters are all that GET /indicators knows; another is refused,
// since a filter that is silently ignored gives figures that nobody asked for.
var indicatorParameters = []string{"by", "from", "to", "indicator", "test_data"}

// indicators computes the unit's own figures from the stored cases. Small cells
// are always suppressed here.
func (s *Server) indicators(c *gin.Context) {
	set, q, err := s.asked(c.Request.URL.Query())
	if err != nil {
		s.fail(c, err)
		return
	}
	report, err := s.figures.answer(c.Request.Context(), question(set, q), func(ctx context.Context) (indicator.Report, error) {
		return s.counted(ctx, set, q)
	})
	if err != nil {
		s.fail(c, err)
		return
	}
	answerIndicators(c, set, report)
}

// question names what is asked for, and the day, which closes windows.
func question(set *indicator.Set, q indicator.Query) string {
	parts := []string{q.By, q.From.Format(time.DateOnly), q.To.Format(time.DateOnly), q.AsOf.Format(time.DateOnly), strconv.FormatBool(q.TestData)}
	for _, i := range set.Indicators {
		parts = append(parts, i.ID)
	}
	return strings.Join(parts, " ")
}

// counted reads every case.
func (s *Server) counted(ctx context.Context, set *indicator.Set, q indicator.Query) (indicator.Report, error) {
	tally, err := indicator.New(set, q)
	if err != nil {
		return indicator.Report{}, err
	}
	book := s.o.Pipeline
	source := export.Stored{Store: s.o.Store, Book: book.Book, Tenant: s.o.Tenant, Key: book.FHIR.Key, Undelivered: true}
	err = export.Each(ctx, source, func(one table.Case) error {
		tally.Add(one)
		return nil
	})
	if err != nil {
		return indicator.Report{}, err
	}
	return tally.Report(), nil
}

// answerIndicators writes the form that the caller accepts; JSON by default.
func answerIndicators(c *gin.Context, set *indicator.Set, r indicator.Report) {
	accept := c.GetHeader("Accept")
	switch {
	case strings.Contains(accept, mediaFHIR):
		c.Data(http.StatusOK, mediaFHIR, r.Bundle(set))
	case strings.Contains(accept, "text/csv"):
		var b bytes.Buffer
		if r.WriteCSV(&b) != nil { // a buffer takes everything
			c.AbortWithStatus(http.StatusInternalServerError)
			return
		}
		c.Data(http.StatusOK, "text/csv; charset=utf-8", b.Bytes())
	default:
		write(c, http.StatusOK, mediaJSON, r)
	}
}

// asked reads the query. Its errors name what can be asked for, and repeat
// nothing of what was.
func (s *Server) asked(query url.Values) (*indicator.Set, indicator.Query, error) {
	for name, values := range query {
		if !slices.Contains(indicatorParameters, name) || len(values) > 1 && name != "indicator" {
			return nil, indicator.Query{}, fault.New(fault.Malformed, "The query has a parameter that the indicators do not know, or one twice. They know "+strings.Join(indicatorParameters, ", ")+".")
		}
	}
	q := indicator.Query{By: query.Get("by"), AsOf: s.o.Clock()}
	for name, day := range map[string]*time.Time{"from": &q.From, "to": &q.To} {
		text := query.Get(name)
		if text == "" {
			continue
		}
		at, err := time.Parse(time.DateOnly, text)
		if err != nil {
			return nil, indicator.Query{}, fault.New(fault.Malformed, "The parameter "+name+" is not a day such as 2026-03-10.")
		}
		*day = at
	}
	switch query.Get("test_data") {
	case "true":
		q.TestData = true
	case "", "false":
	default:
		return nil, indicator.Query{}, fault.New(fault.Malformed, "The parameter test_data is neither true nor false.")
	}
	if q.By != "" && !slices.Contains(indicator.Ways(), q.By) {
		return nil, indicator.Query{}, fault.New(fault.Malformed, "Figures cannot be parted that way. The parameter by is one of "+strings.Join(indicator.Ways(), ", ")+".")
	}
	set, err := indicator.Standard().Select(query["indicator"]...)
	var unknown *indicator.UnknownError
	if errors.As(err, &unknown) {
		return nil, indicator.Query{}, fault.New(fault.NotFound, "There is no such indicator. There are "+strings.Join(unknown.Known, ", ")+".")
	}
	if _, err := indicator.New(set, q); err != nil {
		return nil, indicator.Query{}, fault.New(fault.Malformed, "The period is empty: it ends before it begins.")
	}
	return set, q, nil
}
