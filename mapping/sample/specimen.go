package sample

import (
	"time"

	"enbloc/mapping/report"
)

// specimen is what goes to the laboratory, or the statement that nothing does.
func (s *session) specimen(c course) *report.Specimen {
	if !c.retrieved {
		return &report.Specimen{Retrieved: said(s.dice, "not retrieved", report.No)}
	}
	p := &report.Specimen{
		Retrieved:   said(s.dice, "retrieved", report.Yes),
		Orientation: one(s.dice, "orientation", []report.Orientation{report.OrientationMarked, report.OrientationLost}, 0.9, 0.1),
		Pinned:      s.answer("pinned", 0.93),
		Photo:       s.answer("photographed", 0.9),
		Fixative:    one(s.dice, "fixative", []report.Fixative{report.Formalin10, report.FixativeOther}, 0.99, 0.01),
		Text:        s.text("specimen text", "Oral side marked with a second pin."),
	}
	if c.pieces == 1 {
		p.SizeLongMm = s.number("specimen long", c.specimenLong, 0)
		p.SizeShortMm = s.number("specimen short", c.specimenSh, 0)
	}
	out := s.clock.Add(minutes(4))
	if p.Pinned == report.Yes {
		p.PinnedAt = s.optionalTime("pinned at", out)
	}
	p.FixedAt = s.optionalTime("fixed at", out.Add(minutes(6)))
	if s.has("containers") {
		p.Containers = s.containers(c)
	}
	return p
}

// containers share the pieces; several pieces often go into several.
func (s *session) containers(c course) []report.Container {
	suffix := "-POT-" + string(rune('0'+c.number))
	if c.pieces == 1 || !s.rare("several containers", 0.5) {
		return []report.Container{s.container(suffix, c.pieces)}
	}
	n := s.whole(2, min(c.pieces, 4))
	var out []report.Container
	for i := range n {
		share := c.pieces / n
		if i < c.pieces%n {
			share++
		}
		out = append(out, s.container(suffix+string(rune('A'+i)), share))
	}
	return out
}

func (s *session) container(suffix string, pieces int) report.Container {
	return report.Container{
		Identifier: s.optionalID("container", "container", suffix),
		Accession:  s.optionalID("accession", "lab-accession", suffix),
		Pieces:     s.number("container pieces", float64(pieces), 0),
		Content:    s.text("content", "Pinned on a board, marked side up."),
		ReceivedAt: s.optionalTime("received", s.clock.Add(minutes(180))),
	}
}

// imageViews with the stage of the work that they belong to.
var imageViews = []report.ImageView{
	report.ViewWhiteLight, report.ViewEnhanced, report.ViewMagnified, report.ViewMarking, report.ViewAfterIncision,
	report.ViewDefect, report.ViewClosure, report.ViewPinnedSpecimen, report.ViewLandmark,
}

// writeImages refers to a few pictures of each lesion.
func (s *session) writeImages() {
	if !s.has("images") {
		return
	}
	for _, c := range s.courses {
		for _, view := range some(s.dice, "view", imageViews, 1, 5, 0.2, 0.2, 0.1, 0.1, 0.1, 0.15, 0.05, 0.1, 0.02) {
			image := report.Image{
				URL:         "https://hospital.example/images/HTEST-" + s.name + "-" + string(rune('0'+c.number)) + "-" + string(view),
				ContentType: pick(s.dice, "content type", []string{"image/jpeg", "image/png"}, 0.9, 0.1),
				View:        view,
				TakenAt:     s.optionalTime("taken at", s.takenAt(view)),
				Title:       s.text("image title", "Before the next step"),
			}
			if view != report.ViewLandmark {
				image.Lesion = c.number
			}
			s.rep.Images = append(s.rep.Images, image)
		}
	}
}

// takenAt is early in the session for what is seen, late for what is done.
func (s *session) takenAt(view report.ImageView) time.Time {
	switch view {
	case report.ViewWhiteLight, report.ViewEnhanced, report.ViewMagnified, report.ViewLandmark:
		return s.start.Add(minutes(float64(s.whole(1, 5))))
	case report.ViewPinnedSpecimen:
		return s.end.Add(minutes(5))
	}
	return s.end.Add(-minutes(2))
}
