package cli

import (
	"fmt"
	"os"

	"golang.org/x/term"

	"enbloc/cmd/enbloc/internal/layout"
)

// notes lays text out on standard error.
func (s Streams) notes() *layout.Page { return layout.New(s.Err, s.env) }

// watched reports whether somebody looks at standard error.
func (s Streams) watched() bool {
	f, ok := s.Err.(*os.File)
	return ok && term.IsTerminal(int(f.Fd()))
}

// progress shows what is being done, on one line that the next call replaces;
// only where somebody looks.
func (s Streams) progress(format string, args ...any) {
	if s.watched() {
		fmt.Fprintf(s.Err, "\r\x1b[K"+format, args...)
	}
}

// progressDone removes the line of progress.
func (s Streams) progressDone() {
	if s.watched() {
		fmt.Fprint(s.Err, "\r\x1b[K")
	}
}
