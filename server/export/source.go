package export

import (
	"context"
	"crypto/hmac"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"runtime"
	"strings"
	"time"

	"golang.org/x/sync/errgroup"

	"enbloc/mapping/assess"
	"enbloc/mapping/report"
	"enbloc/mapping/table"
	"enbloc/server/intake"
	"enbloc/server/store"
)

// Source hands out cases in a fixed order, page by page.
type Source interface {
	// Page returns at most limit cases after the cursor, and the cursor of the
	// last of them. No case means the end.
	Page(ctx context.Context, after string, limit int) ([]table.Case, string, error)
}

// Stored is the source that reads the store.
type Stored struct {
	Store *store.Store
	// Book answers the rules' questions.
	Book   assess.Book
	Tenant string
	// Key makes the opaque keys of people and places.
	Key []byte
	// Since leaves out cases that have not changed since; zero leaves out none.
	Since time.Time
	// Undelivered leaves out the deliveries, for who only counts.
	Undelivered bool
}

// Page reads and assesses one page; the work is spread over the processors and
// the order stays.
func (s Stored) Page(ctx context.Context, after string, limit int) ([]table.Case, string, error) {
	rows, next, err := s.Store.CasesInOrder(ctx, store.Walk{Tenant: s.Tenant, Since: s.Since, After: after, Limit: limit})
	if err != nil || len(rows) == 0 {
		return nil, after, err
	}
	keys := make([]string, len(rows))
	for i, row := range rows {
		keys[i] = row.Key
	}
	documents, err := s.Store.Standing(ctx, keys)
	if err != nil {
		return nil, "", err
	}
	var deliveries map[string][]store.Delivery
	if !s.Undelivered {
		if deliveries, err = s.Store.DeliveriesOf(ctx, keys); err != nil {
			return nil, "", err
		}
	}
	out := make([]table.Case, len(rows))
	work := errgroup.Group{}
	work.SetLimit(runtime.GOMAXPROCS(0))
	for i, row := range rows {
		work.Go(func() error {
			one, err := s.flat(row, documents[row.Key])
			one.Deliveries = outbox(deliveries[row.Key])
			out[i] = one
			return err
		})
	}
	return out, next, work.Wait()
}

func (s Stored) flat(row store.Case, documents []store.Document) (table.Case, error) {
	merged, err := intake.Join(documents)
	if err != nil {
		return table.Case{}, err
	}
	out := table.Case{Key: row.Key, Sequence: row.Sequence, Report: merged, Opaque: s.opaque}
	if merged.Status != report.Withdrawn {
		out.Results = s.Book.Assess(merged)
	}
	return out, nil
}

var escape = strings.NewReplacer(`\`, `\\`, `|`, `\|`)

// opaque makes the key of a person or place: "p" and the first 24 hexadecimal
// digits of a keyed hash. Who does not hold the site's key can neither go back
// nor try identifiers.
func (s Stored) opaque(id report.Identifier) string {
	mac := hmac.New(sha256.New, s.Key)
	fmt.Fprintf(mac, "table|1|%s|%s|%s", escape.Replace(s.Tenant), escape.Replace(id.System), escape.Replace(id.Value))
	return "p" + hex.EncodeToString(mac.Sum(nil))[:24]
}

func outbox(rows []store.Delivery) []table.Delivery {
	out := make([]table.Delivery, len(rows))
	for i, d := range rows {
		out[i] = table.Delivery{Sequence: d.Sequence, Target: d.Target, State: string(d.State), Reason: d.Reason,
			Attempts: d.Attempts, Created: d.Created, Updated: d.Updated}
	}
	return out
}

// Each calls do with every case of a source.
func Each(ctx context.Context, s Source, do func(table.Case) error) error {
	for after := ""; ; {
		cases, next, err := s.Page(ctx, after, pageCases)
		if err != nil || len(cases) == 0 {
			return err
		}
		for _, c := range cases {
			if err := do(c); err != nil {
				return err
			}
		}
		after = next
	}
}

const pageCases = 200
