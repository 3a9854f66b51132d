package cli

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
)

// file is one that a command writes.
type file struct {
	name string
	json []byte
}

// writeFiles writes the files, indented, into the folder, which it makes; files
// of the same name are replaced.
func (s Streams) writeFiles(dir string, files []file) error {
	for i, f := range files {
		path := filepath.Join(dir, filepath.FromSlash(f.name))
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil { //nolint:gosec // for others to read: no patient data
			return usagef("making folder: %w", err)
		}
		var pretty bytes.Buffer
		if err := json.Indent(&pretty, f.json, "", "  "); err != nil {
			return fmt.Errorf("formatting %s: %w", f.name, err)
		}
		s.progress("writing %d of %d", i+1, len(files))
		if err := os.WriteFile(path, append(bytes.TrimRight(pretty.Bytes(), "\n"), '\n'), 0o644); err != nil { //nolint:gosec // as above
			return usagef("writing file: %w", err)
		}
	}
	s.progressDone()
	p := s.page()
	p.Text(0, fmt.Sprintf("Wrote %d files to %s", len(files), dir))
	return writing(p.Err())
}
