package delivery

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"strings"

	"enbloc/server/fault"
)

// atLeast passes on records from a level up. The queue says every few seconds
// how many jobs it has worked; what the rows say is ours to log.
type atLeast struct {
	slog.Handler
	level slog.Level
}

// Enabled implements slog.Handler.
func (h atLeast) Enabled(ctx context.Context, l slog.Level) bool {
	return l >= h.level && h.Handler.Enabled(ctx, l)
}

// WithAttrs implements slog.Handler.
func (h atLeast) WithAttrs(attrs []slog.Attr) slog.Handler {
	return atLeast{h.Handler.WithAttrs(attrs), h.level}
}

// WithGroup implements slog.Handler.
func (h atLeast) WithGroup(name string) slog.Handler {
	return atLeast{h.Handler.WithGroup(name), h.level}
}

// quiet is a logger for a library that is talkative below warnings.
func quiet(log *slog.Logger) *slog.Logger {
	return slog.New(atLeast{log.Handler(), slog.LevelWarn})
}

// ours reports whether the service, and not the target or the report, is to
// blame for a failure, so that somebody has to read why.
func (f *Failure) ours() bool {
	return f != nil && f.Cause != nil && (f.Reason == OurMistake || f.Reason == ContentInvalid)
}

// loggable is what the log may say about a cause. A fault keeps patient data
// out of its text, and so does what this package words itself; the text of
// anything that may quote what it was given is left out, its types are told.
func loggable(err error) string {
	var f *fault.Error
	if errors.As(err, &f) {
		return f.Error()
	}
	var types []string
	quotes := false
	for e := err; e != nil; e = errors.Unwrap(e) {
		types = append(types, fmt.Sprintf("%T", e))
		switch e.(type) {
		case *Failure, *json.SyntaxError:
		default:
			// The types of errors.New and fmt.Errorf, which only we word.
			name := types[len(types)-1]
			quotes = quotes || !(strings.HasPrefix(name, "*errors.") || strings.HasPrefix(name, "*fmt."))
		}
	}
	if quotes {
		return strings.Join(types, " < ")
	}
	return err.Error()
}
