package intake

import (
	"bytes"
	"cmp"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"slices"

	"enbloc/mapping"
	"enbloc/mapping/graph"
	"enbloc/mapping/report"
	"enbloc/schemas"
	"enbloc/server/fault"
	"enbloc/server/store"
)

// document is one that was read and has no error of its own.
type document struct {
	kind     store.Kind
	raw      []byte
	source   string
	id       report.Identifier
	revision int
	// void: the document withdraws what it said before.
	void bool
	// keys are what a part names its case by; a report's are those of its case.
	keys     []store.MatchKey
	findings []report.Finding
	// rowID is set on a document that was read back from the store.
	rowID string

	// One of the three is filled, by kind.
	rep       report.Report
	histology report.HistologyPart
	events    report.EventsPart
}

// read decodes and checks a document by itself.
func read(kind store.Kind, raw []byte) (document, error) {
	d := document{kind: kind, raw: raw}
	switch kind {
	case store.Report:
		d.rep, d.findings = mapping.Check(raw)
		d.source, d.id, d.revision = d.rep.SourceSystem, d.rep.ReportID, d.rep.Revision
		d.void = d.rep.Status == report.Withdrawn
		d.keys = keysOfCase(d.rep)
	case store.Histology:
		d.histology, d.findings = schemas.DecodeHistology(raw)
		d.takeEnvelope(d.histology.Part)
	case store.Events:
		d.events, d.findings = schemas.DecodeEvents(raw)
		d.takeEnvelope(d.events.Part)
	}
	if report.Rejects(d.findings) {
		return document{}, &Rejection{Findings: d.findings, Malformed: schemas.Malformed(d.findings)}
	}
	return d, nil
}

func (d *document) takeEnvelope(p report.Part) {
	d.source, d.id, d.revision, d.void, d.keys = p.SourceSystem, p.PartID, p.Revision, p.Withdrawn, keysOfPart(p.Match)
}

// partID is the sender's identity of the document as one text. A system is a
// URI and holds no bar, so two identities never share one text.
func (d document) partID() string { return d.id.System + "|" + d.id.Value }

// row is the document as it is stored.
func (d document) row(tenant string) store.Document {
	sum := sha256.Sum256(d.raw)
	row := store.Document{
		Tenant: tenant, Source: d.source, Kind: d.kind, PartID: d.partID(), Revision: int64(d.revision),
		Hash: hex.EncodeToString(sum[:]), Body: d.raw,
	}
	if d.kind != store.Report {
		row.Keys = d.keys
	}
	return row
}

// sameContent reports whether two bodies say the same: equal bytes, or equal
// JSON whatever its spacing and the order of its members. Numbers are compared
// as written: 1.5 and 1.50 differ, because their digits mean something.
func sameContent(a, b []byte) bool {
	if bytes.Equal(a, b) {
		return true
	}
	x, errX := canonical(a)
	y, errY := canonical(b)
	return errX == nil && errY == nil && bytes.Equal(x, y)
}

func canonical(raw []byte) ([]byte, error) {
	decoder := json.NewDecoder(bytes.NewReader(raw))
	decoder.UseNumber()
	var any any
	if err := decoder.Decode(&any); err != nil {
		return nil, err
	}
	return json.Marshal(any) // writes the members of every object in order
}

// parts are the documents of one state of a case, decoded.
type parts struct {
	rep report.Report
	// earlier are the revisions of the report before rep, oldest first: they
	// tell what rep changed.
	earlier   []report.Report
	histology []report.HistologyPart
	events    []report.EventsPart
}

// add puts a decoded document among the parts; of reports the highest revision
// counts.
func (p *parts) add(d document) {
	switch d.kind {
	case store.Report:
		if p.rep.Revision > 0 {
			p.earlier = append(p.earlier, p.rep)
		}
		if p.rep = d.rep; len(p.earlier) > 0 {
			all := append(p.earlier, p.rep)
			slices.SortFunc(all, func(a, b report.Report) int { return cmp.Compare(a.Revision, b.Revision) })
			p.earlier, p.rep = all[:len(all)-1], all[len(all)-1]
		}
	case store.Histology:
		p.histology = append(p.histology, d.histology)
	case store.Events:
		p.events = append(p.events, d.events)
	}
}

// merged joins the parts to the whole case.
func (p parts) merged() (report.Report, []report.Finding) {
	return report.Merge(p.rep, p.histology, p.events)
}

// mapped makes the record of the whole case as its given state.
func (p parts) mapped(pipeline mapping.Pipeline, sequence int) (graph.Graph, error) {
	merged, _ := p.merged()
	return pipeline.Map(merged, sequence, report.MergeEach(p.earlier, p.histology, p.events)...)
}

// stored decodes a document that was checked when it was accepted.
func stored(row store.Document) (document, error) {
	d := document{kind: row.Kind, raw: row.Body, revision: int(row.Revision), rowID: row.ID}
	if len(row.Body) == 0 {
		return document{}, fault.New(fault.NotFound, "The content of this outdated document was removed when its retention time ended.")
	}
	var err error
	switch row.Kind {
	case store.Report:
		err = json.Unmarshal(row.Body, &d.rep)
		d.void = d.rep.Status == report.Withdrawn
	case store.Histology:
		err = json.Unmarshal(row.Body, &d.histology)
		d.takeEnvelope(d.histology.Part)
	case store.Events:
		err = json.Unmarshal(row.Body, &d.events)
		d.takeEnvelope(d.events.Part)
	}
	if err != nil {
		// The decoder's text can quote the document, so it is not passed on.
		return document{}, &fault.Error{Op: "decoding stored document", Kind: fault.Internal, Subject: row.ID}
	}
	return d, nil
}

// partsOf decodes the documents of a state.
func partsOf(rows []store.Document) (parts, error) {
	var p parts
	for _, row := range rows {
		d, err := stored(row)
		if err != nil {
			return parts{}, err
		}
		p.add(d)
	}
	return p, nil
}
