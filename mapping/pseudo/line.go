package pseudo

import (
	"bytes"
	"encoding/json"
	"strings"

	"enbloc/mapping/graph"
)

// Line is a pseudonymised resource that stands for itself, as in a file of
// NDJSON: under its key as id, with literal references to its neighbours, and
// with the patient named by identifier.
type Line struct {
	Type, ID string
	JSON     json.RawMessage
}

// Lines are the resources of a graph that Apply has made.
func (r *Recipient) Lines(g graph.Graph) []Line {
	places := make(map[string]string, len(g.Resources))
	for _, res := range g.Resources {
		places[res.Reference()] = res.Type + "/" + res.Key
	}
	lines := make([]Line, 0, len(g.Resources))
	for _, res := range g.Resources {
		lines = append(lines, Line{res.Type, res.Key, line(res, places)})
	}
	return lines
}

const referenceKey = `"reference":"`

// line exchanges the references; the body is JSON of ours, without spaces, and no
// reference of it holds a quote or a backslash.
func line(res graph.Resource, places map[string]string) json.RawMessage {
	var out bytes.Buffer
	out.Grow(len(res.Body) + 64)
	head := `{"resourceType":"` + res.Type + `"`
	out.WriteString(head + `,"id":"` + res.Key + `"`)
	body := res.Body[len(head):]
	for {
		i := bytes.Index(body, []byte(referenceKey))
		if i < 0 {
			out.Write(body)
			return out.Bytes()
		}
		out.Write(body[:i])
		body = body[i+len(referenceKey):]
		end := bytes.IndexByte(body, '"')
		reference := string(body[:end])
		body = body[end+1:]
		if token, ok := strings.CutPrefix(reference, patientPrefix); ok {
			system, value, _ := strings.Cut(token, "|")
			out.WriteString(`"type":"Patient","identifier":{"system":"` + system + `","value":"` + value + `"}`)
			continue
		}
		out.WriteString(referenceKey + places[reference] + `"`)
	}
}
