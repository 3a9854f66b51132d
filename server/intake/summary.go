package intake

import (
	"encoding/json"
	"slices"

	"enbloc/mapping/report"
)

// Summary is what a list shows of a case. It holds no identifier, no date, no
// free text and no name.
type Summary struct {
	TestData   bool     `json:"test_data,omitempty"`
	Organs     []string `json:"organs"`     // each once, in the order of the lesions
	Techniques []string `json:"techniques"` // each once, in the order of the lesions
	Lesions    int      `json:"lesions"`
	Resected   int      `json:"resected"`
	// Histology counts lesions with histology, Events those not retracted.
	Histology int `json:"histology"`
	Events    int `json:"events"`
}

// summarise fills the summary. A withdrawn case shows nothing of its content.
func summarise(merged report.Report) json.RawMessage {
	s := Summary{TestData: merged.TestData, Organs: []string{}, Techniques: []string{}}
	if merged.Status != report.Withdrawn {
		s.fill(merged)
	}
	out, err := json.Marshal(s)
	if err != nil {
		return nil // strings and numbers always encode
	}
	return out
}

func (s *Summary) fill(merged report.Report) {
	s.Lesions = len(merged.Lesions)
	for _, l := range merged.Lesions {
		s.Organs = addOnce(s.Organs, string(l.Examination.Organ))
		if l.Resection != nil {
			s.Resected++
			s.Techniques = addOnce(s.Techniques, string(l.Resection.Technique))
		}
		if l.Histology != nil {
			s.Histology++
		}
	}
	for _, e := range merged.Events {
		if !e.Retracted {
			s.Events++
		}
	}
}

func addOnce(list []string, value string) []string {
	if value == "" || slices.Contains(list, value) {
		return list
	}
	return append(list, value)
}
