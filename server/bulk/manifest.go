package bulk

import (
	"encoding/json"
	"net/url"
	"slices"
	"strings"
	"time"
)

// manifest is the file that says what there is (Bulk Data Access 2.0.0, "Response
// - Output Manifest").
type manifest struct {
	TransactionTime     string         `json:"transactionTime"`
	Request             string         `json:"request"`
	RequiresAccessToken bool           `json:"requiresAccessToken"`
	Output              []item         `json:"output"`
	Deleted             []item         `json:"deleted"`
	Error               []item         `json:"error"`
	Extension           map[string]any `json:"extension"`
}

type item struct {
	Type  string `json:"type"`
	URL   string `json:"url"`
	Count int    `json:"count"`
}

// manifest describes the files. There is no server that was asked, so request is
// a URN of ours with the parameters of the operation.
func (r *run) manifest() manifest {
	m := manifest{TransactionTime: instant(r.summary.TransactionTime), Output: []item{}, Deleted: []item{}, Error: []item{},
		Extension: map[string]any{"recipient": r.Recipient.Name, "allowList": r.Recipient.Allow.Version, "dates": r.Recipient.Dates}}
	parameters := url.Values{"_outputFormat": {"application/fhir+ndjson"}}
	if !r.Since.IsZero() {
		parameters.Set("_since", instant(r.Since))
	}
	m.Request = "urn:enbloc:$export?" + parameters.Encode()
	for _, name := range r.files.names() {
		one := item{name, r.url(name), r.files.count(name)}
		switch name {
		case deletedName:
			one.Type = "Bundle"
			m.Deleted = append(m.Deleted, one)
		case errorName:
			one.Type = "OperationOutcome"
			m.Error = append(m.Error, one)
		default:
			m.Output = append(m.Output, one)
		}
	}
	return m
}

func (r *run) url(name string) string {
	if r.BaseURL == "" {
		return fileName(name)
	}
	return strings.TrimRight(r.BaseURL, "/") + "/" + fileName(name)
}

// instant is an R4 instant (http://hl7.org/fhir/R4/datatypes.html#instant) with
// the digits that the store has.
func instant(at time.Time) string { return at.UTC().Format("2006-01-02T15:04:05.000000Z") }

// deletion is one line of the file of deletions: a transaction of DELETEs. All
// that stands in it are type names and keys.
func deletion(places []string) json.RawMessage {
	slices.Sort(places)
	var b strings.Builder
	b.WriteString(`{"resourceType":"Bundle","type":"transaction","entry":[`)
	for i, place := range places {
		if i > 0 {
			b.WriteByte(',')
		}
		b.WriteString(`{"request":{"method":"DELETE","url":"` + place + `"}}`)
	}
	b.WriteString(`]}`)
	return json.RawMessage(b.String())
}

// outcome is one line of the file of errors.
func outcome(caseKey, why string) json.RawMessage {
	raw, err := json.Marshal(struct {
		ResourceType string              `json:"resourceType"`
		Issue        []map[string]string `json:"issue"`
	}{"OperationOutcome", []map[string]string{{"severity": "error", "code": "processing", "diagnostics": "Case " + caseKey + ": " + why + "."}}})
	if err != nil {
		panic(err) // strings always marshal
	}
	return raw
}
