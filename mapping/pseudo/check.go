package pseudo

import (
	"errors"
	"fmt"
	"strings"

	"enbloc/mapping/fhir/model"
	"enbloc/mapping/graph"
)

var (
	errLabel    = errors.New("it is not labelled as pseudonymised")
	errDangling = errors.New("a reference leads to nothing that leaves")
	errKey      = errors.New("its key does not stand in it")
	errRequired = errors.New("something that R4 requires is missing")
)

// check looks at a pseudonymised graph once more, whatever made it: labels,
// keys, required elements, references. Its errors hold no content.
func (r *Recipient) check(g graph.Graph, bodies []*model.Object) error {
	known := map[string]bool{}
	for _, res := range g.Resources {
		known[res.Reference()] = true
	}
	for i, res := range g.Resources {
		if err := r.sound(res, bodies[i], known); err != nil {
			return fmt.Errorf("checking the pseudonymised %s: %w", res.Role, err)
		}
	}
	return nil
}

func (r *Recipient) sound(res graph.Resource, body *model.Object, known map[string]bool) error {
	for _, path := range required[res.Type] {
		if _, ok := member(body, path); !ok {
			return errRequired
		}
	}
	text := string(res.Body)
	if !strings.Contains(text, `"code":"PSEUDED"`) {
		return errLabel
	}
	if !strings.Contains(text, `"`+res.Key+`"`) {
		return errKey
	}
	return eachReference(body, func(reference string) error {
		if known[reference] || strings.HasPrefix(reference, patientPrefix+r.PatientSystem()+"|p") {
			return nil
		}
		return errDangling
	})
}

func eachReference(value any, visit func(string) error) error {
	switch v := value.(type) {
	case *model.Object:
		for name, below := range v.Members() {
			if text, ok := below.(string); ok && name == "reference" {
				if err := visit(text); err != nil {
					return err
				}
				continue
			}
			if err := eachReference(below, visit); err != nil {
				return err
			}
		}
	case []any:
		for _, below := range v {
			if err := eachReference(below, visit); err != nil {
				return err
			}
		}
	}
	return nil
}
