package delivery

import (
	"bytes"
	"crypto/sha1" //nolint:gosec // FHIR R4 defines Attachment.hash as SHA-1
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"errors"
	"strconv"
	"strings"

	"github.com/google/uuid"

	"enbloc/mapping/graph"
	"enbloc/server/store"
	"enbloc/server/target/fhirserver"
)

// asDocument turns the graph of a case into that of one DocumentReference
// (http://hl7.org/fhir/R4/documentreference.html): everything as a collection
// Bundle in one attachment, or as the document that the graph brings, and the
// narrative of the reports as a page in another.
// Each state is a document of its own that replaces the one before. It is only
// ever created: a target of this rung can do nothing else.
func asDocument(g graph.Graph, ledger map[string]store.LedgerEntry) (graph.Graph, error) {
	report, err := leadingReport(g)
	if err != nil {
		return graph.Graph{}, err
	}
	role := "document/" + strconv.Itoa(g.Sequence)
	sum := sha256.Sum256([]byte(g.CaseKey + "|" + role))
	key := "k" + hex.EncodeToString(sum[:])[:40]
	bundle := []byte(g.Document)
	if len(bundle) == 0 {
		if bundle, err = collection(g); err != nil {
			return graph.Graph{}, err
		}
	}
	id := map[string]any{"system": graph.RoleKeySystem, "value": key}
	doc := map[string]any{
		"resourceType": "DocumentReference", "masterIdentifier": id, "identifier": []any{id},
		"meta": report["meta"], "status": "current", "docStatus": "final", "type": report["code"], "subject": report["subject"],
		"content": []any{attachment("application/fhir+json", "Record of the resection, for machines", bundle),
			attachment("text/html; charset=utf-8", "Report of the resection, for people", page(g))},
	}
	switch report["status"] {
	case "preliminary", "registered", "partial":
		doc["docStatus"] = "preliminary"
	case "amended", "corrected", "appended":
		doc["docStatus"] = "amended"
	case "entered-in-error":
		doc["docStatus"], doc["status"] = "entered-in-error", "entered-in-error"
	}
	for from, to := range map[string]string{"issued": "date", "performer": "author"} {
		if v, ok := report[from]; ok {
			doc[to] = v
		}
	}
	if encounter, ok := report["encounter"]; ok {
		doc["context"] = map[string]any{"encounter": []any{encounter}}
	}
	if before := predecessor(g, ledger); before != "" {
		doc["relatesTo"] = []any{map[string]any{"code": "replaces", "target": map[string]any{"reference": "DocumentReference/" + before}}}
	}
	body, err := fhirserver.EncodeTree(doc)
	if err != nil {
		return graph.Graph{}, err
	}
	return graph.Graph{CaseKey: g.CaseKey, Sequence: g.Sequence, Resources: []graph.Resource{{Role: role, Key: key, Type: "DocumentReference",
		UUID: uuid.NewSHA1(uuid.NameSpaceURL, []byte(key)).String(), Body: body, SearchBy: graph.ByIdentifier}}}, nil
}

// leadingReport is the first DiagnosticReport: what it says of patient, time and
// author holds for the document.
func leadingReport(g graph.Graph) (map[string]any, error) {
	for _, r := range g.Resources {
		if r.Type != "DiagnosticReport" {
			continue
		}
		tree, err := fhirserver.DecodeTree[any](r.Body)
		if o, ok := tree.(map[string]any); ok && err == nil {
			return o, nil
		}
	}
	return nil, errors.New("making document: the case has no report")
}

// predecessor is the id of the newest document before this state; empty for the
// first.
func predecessor(g graph.Graph, ledger map[string]store.LedgerEntry) string {
	best := store.LedgerEntry{}
	for _, e := range ledger {
		if e.Type == "DocumentReference" && strings.HasPrefix(e.Role, "document/") && e.Sequence < g.Sequence && e.Sequence > best.Sequence {
			best = e
		}
	}
	return best.ServerID
}

// collection is the whole graph as one Bundle. It leaves no reference that only
// a server could resolve: neighbours by urn, the hospital's own by identifier.
func collection(g graph.Graph) ([]byte, error) {
	var b bytes.Buffer
	b.WriteString(`{"resourceType":"Bundle","type":"collection","entry":[`)
	for i, r := range g.Resources {
		local, err := named(r.Body)
		if err != nil {
			return nil, err
		}
		if i > 0 {
			b.WriteByte(',')
		}
		b.WriteString(`{"fullUrl":"` + r.Reference() + `","resource":`)
		b.Write(local.raw)
		b.WriteByte('}')
	}
	b.WriteString(`]}`)
	return b.Bytes(), nil
}

// page is the narrative of every report, as it was signed, in one HTML page.
func page(g graph.Graph) []byte {
	var b bytes.Buffer
	b.WriteString("<!DOCTYPE html>\n<html lang=\"en\"><head><meta charset=\"utf-8\"><title>Endoscopic resection</title></head><body>\n")
	for _, r := range g.Resources {
		tree, err := fhirserver.DecodeTree[any](r.Body)
		o, _ := tree.(map[string]any)
		text, _ := o["text"].(map[string]any)
		div, ok := text["div"].(string)
		if r.Type == "DiagnosticReport" && err == nil && ok {
			b.WriteString(div + "\n")
		}
	}
	b.WriteString("</body></html>\n")
	return b.Bytes()
}

func attachment(contentType, title string, data []byte) map[string]any {
	sum := sha1.Sum(data) //nolint:gosec // see the import
	return map[string]any{"attachment": map[string]any{"contentType": contentType, "title": title, "size": len(data),
		"hash": base64.StdEncoding.EncodeToString(sum[:]), "data": base64.StdEncoding.EncodeToString(data)}}
}
