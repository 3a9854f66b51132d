package preflight

import (
	"context"
	"crypto/sha1" //nolint:gosec // FHIR R4 defines Attachment.hash as SHA-1
	"encoding/base64"
	"encoding/json"
	"fmt"
	"net/http"
	"strings"

	"enbloc/server/delivery"
)

// roundTrip writes what servers are known to lose, and compares.
func (r *run) roundTrip(ctx context.Context) {
	if !r.facts.creates {
		return
	}
	r.timed(GroupContent, "round-trip", "Reading back what was written", func() (Status, string, string) {
		c := r.canary("Observation", "kept", map[string]any{
			"extension":         []any{map[string]any{"url": "https://enbloc.example/fhir/StructureDefinition/preflight", "valueString": "HTEST"}},
			"effectiveDateTime": "2026-03",
			"valueQuantity":     map[string]any{"value": json.Number("0.10"), "unit": "mm", "system": "http://unitsofmeasure.org", "code": "mm"},
			"text":              map[string]any{"status": "generated", "div": `<div xmlns="http://www.w3.org/1999/xhtml"><p>HTEST Größe ≥ 0.10 mm</p></div>`},
			"note":              []any{map[string]any{"text": "HTEST “quoted” — 切除"}},
		})
		e, a := r.post(ctx, c, "")
		if !done(a) || e.ID == "" {
			return Fail, "It was refused: " + answered(a) + ".", "Ask what the server does not take."
		}
		now, ok := r.read(ctx, "Observation", e.ID)
		if !ok {
			return Fail, "It cannot be read.", "Ask for read on the types of a case: without it nothing is proven to have arrived."
		}
		return judgeDifferences(encode(c), now, r.Client.BaseURL())
	})
}

func judgeDifferences(sent, read []byte, base string) (Status, string, string) {
	differences, err := delivery.Compare(sent, read, base)
	if err != nil {
		return Fail, "What was read is no resource.", "Ask what the server keeps."
	}
	var lost, digits []string
	for _, d := range differences {
		switch d.Kind {
		case delivery.Lost, delivery.Changed:
			lost = append(lost, d.Path)
		case delivery.Digits:
			digits = append(digits, d.Path)
		}
	}
	switch {
	case len(lost) > 0:
		return Fail, "Lost or changed: " + strings.Join(lost, ", ") + ".", "Ask for these elements to be kept. Deliveries will be reported as standing with differences."
	case len(digits) > 0:
		return Warn, "0.10 became 0.1: the precision of a measurement is lost.", "Ask for decimals to be kept as written (http://hl7.org/fhir/R4/datatypes.html#decimal)."
	}
	return Pass, "Unknown extension, decimal 0.10, partial date, narrative and special characters came back.", ""
}

func (r *run) logicalReference(ctx context.Context) {
	if !r.facts.creates {
		return
	}
	r.timed(GroupContent, "logical-reference", "Keeping a reference by identifier", func() (Status, string, string) {
		c := r.canary("Observation", "logical", map[string]any{"performer": []any{map[string]any{"type": "Practitioner",
			"identifier": map[string]any{"system": System, "value": r.value("nobody")}}}})
		e, a := r.post(ctx, c, "")
		if !done(a) || e.ID == "" {
			return Warn, "It was refused: " + answered(a) + ".", "Ask for references by identifier; else staff whom the server does not know cannot be named."
		}
		now, _ := r.read(ctx, "Observation", e.ID)
		if !contains(now, r.value("nobody")) {
			return Warn, "The identifier is gone.", "Ask for it to be kept."
		}
		return Pass, "It was kept.", ""
	})
}

// conditionalReference asks whether the server resolves a search inside a
// reference, and what it does when nothing matches.
func (r *run) conditionalReference(ctx context.Context) {
	if !r.facts.transaction {
		return
	}
	r.timed(GroupContent, "conditional-reference", "Resolving a reference by search", func() (Status, string, string) {
		refer := func(name, to string) (map[string]any, map[string]any) {
			c := r.canary("Observation", name, map[string]any{"hasMember": []any{map[string]any{"reference": "Observation?" + r.condition("identifier", to)}}})
			return c, entry(c, "POST", "Observation", nil)
		}
		_, good := refer("reference", "one")
		results, a := r.post0(ctx, good)
		if results == nil {
			return Info, "Not possible: " + answered(a) + ". Patients are looked up before writing, so nothing is lost.", ""
		}
		if n, hits := r.count(ctx, "Observation", "identifier", "reference"); n != 1 || contains(hits[0], "Observation?") {
			return Warn, "It was stored as it was sent and leads nowhere.", "Do not choose the conditional policy for patients here."
		}
		_, bad := refer("no-reference", "none-of-this-name")
		if results, _ := r.post0(ctx, bad); results != nil && results[0].Status < http.StatusBadRequest {
			return Warn, "It is resolved; one without a match was taken too.", "Do not choose the conditional policy for patients here."
		}
		r.facts.looksUp = true
		return Pass, "It is resolved, and one without a match is refused.", ""
	})
}

func (r *run) danglingReference(ctx context.Context) {
	if !r.facts.creates {
		return
	}
	r.timed(GroupContent, "dangling-reference", "A reference to what is not there", func() (Status, string, string) {
		_, a := r.post(ctx, r.canary("Observation", "dangling", map[string]any{"hasMember": []any{map[string]any{"reference": "Observation/" + r.key("none")}}}), "")
		if done(a) {
			return Info, "It is stored. The order of writing is kept all the same.", ""
		}
		return Info, "It is refused: " + answered(a) + ". What is referred to is written first.", ""
	})
}

// nonsense asks whether the server looks at what it takes.
func (r *run) nonsense(ctx context.Context) {
	if !r.facts.creates {
		return
	}
	r.timed(GroupContent, "validation", "Refusing what is not valid", func() (Status, string, string) {
		c := r.canary("Observation", "nonsense", nil)
		delete(c, "status")
		_, a := r.post(ctx, c, "")
		if done(a) {
			return Info, "An Observation without the required status is stored. Our own checks come first, so none is sent.", ""
		}
		return Info, "An Observation without the required status is refused.", ""
	})
}

// megabyte is the attachment that is tried: an endoscopy report with a few
// pictures is of this size (common practice, no source).
const megabyte = 1 << 20

func (r *run) attachment(ctx context.Context) {
	if !r.facts.creates && !r.facts.document {
		return
	}
	r.timed(GroupContent, "attachment", "An attachment of 1 MB", func() (Status, string, string) {
		data := []byte(strings.Repeat("HTEST 32 bytes of nothing at all", megabyte/32))
		content := attachmentOf(data, "application/octet-stream")
		c := r.canary("DocumentReference", "attachment", map[string]any{"content": content})
		e, a := r.post(ctx, c, "")
		if !done(a) || e.ID == "" {
			return Warn, "It was refused: " + answered(a) + ".", "Ask for create of DocumentReference and for the limit on the size of a request."
		}
		now, ok := r.read(ctx, "DocumentReference", e.ID)
		if !ok || !contains(now, base64.StdEncoding.EncodeToString(data[:3000])) {
			return Warn, "It was taken, and the content is not in the resource that is read back.", "Ask where attachments are kept: some servers move them out to a place of their own."
		}
		return Pass, "It was kept in full.", ""
	})
}

func attachmentOf(data []byte, contentType string) []any {
	sum := sha1.Sum(data) //nolint:gosec // see the import
	return []any{map[string]any{"attachment": map[string]any{"contentType": contentType, "size": len(data),
		"hash": base64.StdEncoding.EncodeToString(sum[:]), "data": base64.StdEncoding.EncodeToString(data)}}}
}

// freshness measures how soon a search sees a write.
func (r *run) freshness(ctx context.Context) {
	if !r.facts.creates {
		return
	}
	r.timed(GroupLimits, "freshness", "Finding what was just written", func() (Status, string, string) {
		_, a := r.post(ctx, r.canary("Observation", "fresh", nil), "")
		if !done(a) {
			return Skip, "It could not be created: " + answered(a) + ".", ""
		}
		start := r.Clock()
		for tries := 1; tries <= freshTries; tries++ {
			if n, _ := r.count(ctx, "Observation", "identifier", "fresh"); n == 1 {
				return freshEnough(tries, r.Clock().Sub(start).Milliseconds())
			}
			wait(ctx, freshWait)
		}
		return Fail, fmt.Sprintf("It was not found within %s.", freshTries*freshWait), "Ask for a search that sees what was written. After a lost answer it cannot be told whether a record arrived."
	})
}

func freshEnough(tries int, ms int64) (Status, string, string) {
	if tries == 1 {
		return Pass, "At once.", ""
	}
	return Warn, fmt.Sprintf("After %d ms.", ms), "Ask whether the index can be written with the resource. After a lost answer a record could be taken for missing."
}
