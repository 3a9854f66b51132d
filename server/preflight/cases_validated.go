package preflight

import (
	"context"
	"net/http"
	"strings"

	"enbloc/mapping/graph"
	"enbloc/server/delivery"
	"enbloc/server/target"
	"enbloc/server/target/fhirserver"
)

// byValidating asks the target about each resource of a case.
func (r *run) byValidating(ctx context.Context, g graph.Graph) (fate, bool) {
	var f fate
	places := map[string]string{}
	for _, res := range g.Resources {
		places[res.Reference()] = res.Type + "/" + res.Key
	}
	for _, res := range g.Resources {
		body, err := alone(res.Body, places)
		if err != nil {
			continue // what was mapped a moment ago is JSON
		}
		a := r.saw(res.Type+"/$validate", r.Client.Operation(ctx, res.Type, "$validate", body))
		if ctx.Err() != nil {
			return fate{}, false
		}
		f.refusals = append(f.refusals, refusalsByValidation(res, a)...)
	}
	return f, true
}

// refusalsByValidation reads the OperationOutcome of $validate, which comes with
// 200 on some servers and with 4xx on others.
func refusalsByValidation(res graph.Resource, a fhirserver.Answer) []Refusal {
	if a.Err != nil || a.Status >= http.StatusInternalServerError {
		return []Refusal{{Cases: 1, Type: res.Type, Reason: delivery.NoAnswer, Report: general(res.Pointers)}}
	}
	var all []Refusal
	for _, issue := range target.ReadIssues(a.Body) {
		if issue.Severity == "error" || issue.Severity == "fatal" {
			all = append(all, Refusal{Cases: 1, Type: res.Type, Path: noNumbers(issue.Path), Code: issue.Code, Reason: delivery.Refused, Report: general(res.Pointers)})
		}
	}
	return all
}

// alone is a resource that can be judged by itself: its neighbours are named by
// places, the hospital's own by their type.
func alone(body []byte, places map[string]string) ([]byte, error) {
	tree, err := fhirserver.DecodeTree[any](body)
	if err != nil {
		return nil, err
	}
	fhirserver.EachObject(tree, func(o map[string]any) {
		to, ok := o["reference"].(string)
		if !ok {
			return
		}
		if kind, _, outside := strings.Cut(to, "?identifier="); outside {
			delete(o, "reference")
			o["type"], o["display"] = kind, "HTEST"
		} else if place, ok := places[to]; ok {
			o["reference"] = place
		}
	})
	return fhirserver.EncodeTree(tree)
}
