package fhirserver

import (
	"bytes"
	"encoding/json"
)

// DecodeTree reads a resource as a tree; numbers keep their digits. T is any, or
// map[string]any where nothing but an object will do.
func DecodeTree[T any](body []byte) (tree T, err error) {
	d := json.NewDecoder(bytes.NewReader(body))
	d.UseNumber()
	err = d.Decode(&tree)
	return tree, err
}

// EncodeTree writes a tree with the keys of objects in order and without spaces.
func EncodeTree(tree any) ([]byte, error) {
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	if err := e.Encode(tree); err != nil {
		return nil, err
	}
	return bytes.TrimRight(b.Bytes(), "\n"), nil
}

// EachObject visits every object of a tree, outermost first.
func EachObject(node any, visit func(map[string]any)) {
	switch n := node.(type) {
	case map[string]any:
		visit(n)
		for _, v := range n {
			EachObject(v, visit)
		}
	case []any:
		for _, v := range n {
			EachObject(v, visit)
		}
	}
}
