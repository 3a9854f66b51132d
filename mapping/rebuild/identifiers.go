package rebuild

import (
	"net/url"
	"regexp"
	"strings"

	"enbloc/mapping/graph"
)

// asked is a reference that a server was to resolve.
var asked = regexp.MustCompile(`^[A-Za-z]+\?identifier=([^|]+)\|(.+)$`)

// businessIdentifier is the first identifier of a resource that is not our key.
func businessIdentifier(n node) any {
	for _, id := range append(n.list("identifier"), n.in("identifier")) {
		if id.text("value") != "" && id.text("system") != graph.RoleKeySystem {
			return identifier(id.text("system"), id.text("value"))
		}
	}
	return nil
}

func identifier(system, value string) map[string]any {
	return map[string]any{"system": system, "value": value}
}

// named is the identifier behind a reference: in the reference itself, in what
// a server was asked for, or on what it refers to.
func (r Record) named(reference node) any {
	if id := businessIdentifier(reference); id != nil {
		return id
	}
	at := reference.text("reference")
	if m := asked.FindStringSubmatch(at); m != nil {
		return identifier(plain(m[1]), plain(m[2]))
	}
	if target := r.at[at]; target != nil {
		return businessIdentifier(target)
	}
	return nil
}

// plain undoes percent-encoding and then the backslash of a FHIR search
// (http://hl7.org/fhir/R4/search.html#escaping).
func plain(text string) string {
	decoded, err := url.PathUnescape(text)
	if err != nil {
		return text
	}
	var b strings.Builder
	for i := 0; i < len(decoded); i++ {
		if decoded[i] == '\\' && i+1 < len(decoded) {
			i++
		}
		b.WriteByte(decoded[i])
	}
	return b.String()
}
