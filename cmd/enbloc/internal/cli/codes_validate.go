package cli

import (
	"fmt"

	"github.com/spf13/cobra"

	"enbloc/cmd/enbloc/internal/terminology"
	"enbloc/mapping/term"
)

// judged is a code with what the terminology server said against it.
type judged struct {
	System  string `json:"system"`
	Code    string `json:"code"`
	Display string `json:"display"`
	Message string `json:"message"`
}

// validation is what came of asking about every code. Unanswered codes are not
// refused, but nobody may take them for confirmed.
type validation struct {
	Asked      int      `json:"asked"`
	Accepted   int      `json:"accepted"`
	Refused    []judged `json:"refused"`
	Unanswered []judged `json:"unanswered"`
}

// validateCodes asks a terminology server about each code that the site may
// send.
func (s Streams) validateCodes(c *cobra.Command, f codesFlags, items []codeItem) error {
	token, err := s.secret("validate-token", f.validationFile)
	if err != nil {
		return err
	}
	server, err := terminology.New(f.validate, token)
	if err != nil {
		return usagef("%w", err)
	}
	v := validation{Refused: []judged{}, Unanswered: []judged{}}
	for i, item := range items {
		if item.Licence == string(term.SNOMEDLicensed) && !f.licensed {
			continue // never sent by this site
		}
		s.progress("asking about %d of %d", i+1, len(items))
		verdict, err := server.Ask(c.Context(), item.System, item.Code, item.Display)
		if err != nil {
			s.progressDone()
			return targetFailed(fmt.Errorf("after %d of %d codes: %w", v.Asked, len(items), err))
		}
		v.Asked++
		said := judged{item.System, item.Code, item.Display, verdict.Message}
		switch {
		case !verdict.Answered:
			v.Unanswered = append(v.Unanswered, said)
		case !verdict.Valid:
			v.Refused = append(v.Refused, said)
		default:
			v.Accepted++
		}
	}
	s.progressDone()
	if err := s.printValidation(v, f.asJSON); err != nil {
		return err
	}
	if len(v.Refused)+len(v.Unanswered) > 0 {
		return &exitError{code: TargetFailed} // the output has named them
	}
	return nil
}

func (s Streams) printValidation(v validation, asJSON bool) error {
	if asJSON {
		return s.printJSON(v)
	}
	p := s.page()
	table := func(title string, list []judged) {
		if len(list) == 0 {
			return
		}
		var rows [][]string
		for _, j := range list {
			rows = append(rows, []string{j.System, j.Code, j.Display, j.Message})
		}
		p.Title(title)
		p.Table(0, []string{"System", "Code", "Display", "What the server says"}, rows)
		p.Gap()
	}
	table("Refused", v.Refused)
	table("No verdict", v.Unanswered)
	p.Text(0, fmt.Sprintf("Asked about %d codes: %d accepted, %d refused, %d without a verdict.",
		v.Asked, v.Accepted, len(v.Refused), len(v.Unanswered)))
	return writing(p.Err())
}
