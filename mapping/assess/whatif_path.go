package assess

import (
	"cmp"
	"errors"
	"fmt"
	"reflect"
	"slices"
	"strconv"
	"strings"

	"enbloc/mapping/report"
)

// resolve turns a path into steps from the top of the report.
func resolve(rep *report.Report, path string) ([]string, error) {
	if strings.HasPrefix(path, "/") {
		steps := strings.Split(path[1:], "/")
		for i, s := range steps {
			steps[i] = strings.ReplaceAll(strings.ReplaceAll(s, "~1", "/"), "~0", "~")
		}
		return steps, nil
	}
	steps := strings.Split(path, "/")
	switch steps[0] {
	case "lesion":
		return lesionSteps(rep, steps)
	case "event":
		return eventSteps(rep, steps)
	}
	return steps, nil
}

func lesionSteps(rep *report.Report, steps []string) ([]string, error) {
	if len(steps) < 3 {
		return nil, errors.New("a lesion is named by its number, and a field follows: lesion/1/histology/depth_um")
	}
	var have []string
	for i, l := range rep.Lesions {
		if strconv.Itoa(l.Number) == steps[1] {
			return append([]string{"lesions", strconv.Itoa(i)}, steps[2:]...), nil
		}
		have = append(have, strconv.Itoa(l.Number))
	}
	return nil, fmt.Errorf("the report has no lesion %q; it has %s", steps[1], strings.Join(have, ", "))
}

func eventSteps(rep *report.Report, steps []string) ([]string, error) {
	if len(steps) < 3 {
		return nil, errors.New("an event is named by its id, and a field follows: event/ID/transfusion")
	}
	for i, e := range rep.Events {
		if e.ID == steps[1] {
			return append([]string{"events", strconv.Itoa(i)}, steps[2:]...), nil
		}
	}
	return nil, fmt.Errorf("the report has no event of that id; it has %d events", len(rep.Events))
}

// maxElements bounds what a change may add to a list.
const maxElements = 1000

func index(step string, length int) (int, error) {
	i, err := strconv.Atoi(step)
	if err != nil || i < 0 || i > length || i >= maxElements {
		return 0, fmt.Errorf("%q is no place in a list of %d, whose places count from 0", step, length)
	}
	return i, nil
}

// fieldNamed finds the field with the given JSON name.
func fieldNamed(v reflect.Value, name string) (reflect.Value, error) {
	var names []string
	for i := range v.NumField() {
		tag, _, _ := strings.Cut(v.Type().Field(i).Tag.Get("json"), ",")
		if tag == name {
			return v.Field(i), nil
		}
		names = append(names, tag)
	}
	return reflect.Value{}, fmt.Errorf("there is no field %q here; near are %s", name, strings.Join(nearest(name, names), ", "))
}

// nearest returns the three candidates that take the fewest edits to reach.
func nearest(word string, candidates []string) []string {
	out := slices.Clone(candidates)
	slices.SortStableFunc(out, func(a, b string) int { return cmp.Compare(edits(word, a), edits(word, b)) })
	return out[:min(3, len(out))]
}

// edits is the Levenshtein distance, on at most the first 64 bytes.
func edits(a, b string) int {
	a, b = a[:min(64, len(a))], b[:min(64, len(b))]
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := range len(a) {
		previous := row[0]
		row[0] = i + 1
		for j := range len(b) {
			change := previous
			if a[i] != b[j] {
				change++
			}
			previous = row[j+1]
			row[j+1] = min(change, row[j+1]+1, row[j]+1)
		}
	}
	return row[len(b)]
}

// deepCopy copies a value with all that hangs on it.
func deepCopy(v reflect.Value) reflect.Value {
	out := reflect.New(v.Type()).Elem()
	out.Set(v)
	switch v.Kind() {
	case reflect.Pointer:
		if !v.IsNil() {
			out.Set(reflect.New(v.Type().Elem()))
			out.Elem().Set(deepCopy(v.Elem()))
		}
	case reflect.Slice:
		if !v.IsNil() {
			out.Set(reflect.MakeSlice(v.Type(), v.Len(), v.Len()))
			for i := range v.Len() {
				out.Index(i).Set(deepCopy(v.Index(i)))
			}
		}
	case reflect.Struct:
		for i := range v.NumField() {
			if v.Type().Field(i).IsExported() {
				out.Field(i).Set(deepCopy(v.Field(i)))
			}
		}
	}
	return out
}
