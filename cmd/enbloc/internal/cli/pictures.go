package cli

import (
	"os"
	"path/filepath"

	"enbloc/mapping/indicator"
	"enbloc/mapping/indicator/chart"
	"enbloc/mapping/table"
)

// drawing gathers what the pictures need while the figures are counted.
type drawing struct{ chart.Gathered }

func (d *drawing) add(tally *indicator.Tally, c table.Case) {
	if tally.Wanted(c) {
		d.Add(c)
	}
}

// draw writes every picture as SVG and PNG.
func (s Streams) draw(f *indicatorFlags, d *drawing) error {
	period := "All sessions"
	if f.from+f.to != "" {
		period = "Sessions from " + orWord(f.from, "the first") + " to " + orWord(f.to, "the last")
	}
	if f.testData {
		period = "Invented test data. " + period
	}
	pictures, err := d.Draw(period, f.smallCell)
	if err != nil {
		return err
	}
	if err := os.MkdirAll(f.pictures, 0o700); err != nil {
		return usagef("making folder: %w", err)
	}
	for _, p := range pictures {
		svg, err := p.Picture.SVG()
		if err != nil {
			return err
		}
		png, err := p.Picture.PNG()
		if err != nil {
			return err
		}
		for ending, content := range map[string][]byte{".svg": svg, ".png": png} {
			if err := os.WriteFile(filepath.Join(f.pictures, p.Name+ending), content, 0o600); err != nil {
				return usagef("writing picture: %w", err)
			}
		}
	}
	notes := s.notes()
	if len(pictures) == 0 {
		notes.Text(0, "There are too few cases for a picture.")
	}
	for _, p := range pictures {
		notes.Text(0, "Drew "+filepath.Join(f.pictures, p.Name)+".svg and .png")
	}
	return nil
}

func orWord(text, otherwise string) string {
	if text == "" {
		return otherwise
	}
	return text
}
