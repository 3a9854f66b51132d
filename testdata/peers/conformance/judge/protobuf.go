package judge

import (
	"fmt"

	"github.com/google/fhir/go/fhirversion"
	"github.com/google/fhir/go/jsonformat"
)

// Protobuf reads a Bundle with google/fhir's jsonformat, R4, validation on: a reader written apart from the model
// library that the product uses. It knows required elements, required codes, formats and the types that a reference
// may have; it doesn't know invariants.
func Protobuf() (Judge, error) {
	reader, err := jsonformat.NewUnmarshaller("UTC", fhirversion.R4)
	if err != nil {
		return nil, fmt.Errorf("making the R4 reader: %w", err)
	}
	return func(bundle []byte) []string {
		if _, err := reader.Unmarshal(bundle); err != nil {
			return []string{err.Error()}
		}
		return nil
	}, nil
}
