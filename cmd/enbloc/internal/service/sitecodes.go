package service

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"os"
	"path/filepath"
	"strings"

	"enbloc/mapping/term"
)

// maxCodes bounds a file of site codes; a code a line takes some hundred bytes.
const maxCodes = 8 << 20

// LoadCodes reads a site's own codes from a FHIR ConceptMap file; path "" adds
// none.
func LoadCodes(path string) (term.Overlay, error) {
	if path == "" {
		return term.Overlay{}, nil
	}
	f, err := os.Open(filepath.Clean(path))
	if err != nil {
		return term.Overlay{}, fmt.Errorf("reading codes file: %w", err)
	}
	defer f.Close() //nolint:errcheck // nothing was written
	raw, err := io.ReadAll(io.LimitReader(f, maxCodes))
	if err != nil {
		return term.Overlay{}, fmt.Errorf("reading codes file: %w", err)
	}
	o, err := term.ReadOverlay(raw)
	if err != nil {
		return term.Overlay{}, fmt.Errorf("reading codes file %s: %w", path, err)
	}
	return o, nil
}

// tellUnmapped says at the start which procedures and places go out without a
// code of the site: with a file, each of them; without one, only how many.
func tellUnmapped(ctx context.Context, log *slog.Logger, path string, o term.Overlay) {
	gaps := o.Unmapped()
	switch {
	case path == "":
		log.InfoContext(ctx, "no codes of the site are set: procedures and places go out with our codes and standard ones; "+
			"enbloc codes --unmapped lists them", "unmapped", len(gaps))
	case len(gaps) > 0:
		names := make([]string, len(gaps))
		for i, g := range gaps {
			names[i] = g.Concept.Code
			if len(g.Organs) > 0 {
				names[i] += " (" + strings.Join(g.Organs, ", ") + ")"
			}
		}
		log.WarnContext(ctx, "procedures and places without a code of the site", "unmapped", len(gaps), "codes", strings.Join(names, "; "))
	default:
		log.InfoContext(ctx, "every procedure and place has a code of the site")
	}
}
