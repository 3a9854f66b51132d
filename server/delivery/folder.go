package delivery

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"enbloc/server/store"
	"enbloc/server/target"
)

// FileName is the name of the file of one state of a case: the same state has
// the same name, and the names of a case sort in order.
func FileName(caseKey string, sequence int) string {
	return fmt.Sprintf("%s-%06d.ndjson", caseKey, sequence)
}

// drop writes the state as a file: one resource a line, those that have left the
// case in their void form. A file is complete from the moment it has its name.
// One that is there with the same content is the answer to a doubt; one with
// other content is nobody's to overwrite.
func (r *run) drop() error {
	ops, err := plan(r.g, r.ledger, r.void, r.hashes)
	if err != nil {
		return err
	}
	for i := range ops { // nobody is asked: what the hospital owns is named by identifier
		if ops[i].local, err = ops[i].local.localise(nil); err != nil {
			return &Failure{Class: target.Permanent, Reason: OurMistake, Cause: err}
		}
	}
	content, err := r.lines(ops)
	if err != nil {
		return &Failure{Class: target.Permanent, Reason: OurMistake, Cause: err}
	}
	path := filepath.Join(r.target.Folder, FileName(r.g.Named().CaseKey, r.g.Sequence))
	found, err := putFile(path, content)
	switch {
	case errors.Is(err, errOtherContent):
		return r.conflict(OtherContent, []Difference{{"file", "file", Changed}})
	case err != nil:
		return &Failure{Class: target.Retry, Reason: FolderNotWritable, Cause: err}
	}
	version := fmt.Sprint(r.g.Sequence)
	refs := references(r.g, r.ledger, RungClientIDs)
	for _, o := range ops {
		effect := o.effect()
		if found {
			effect = Found
		}
		r.learn(o.ledgerEntry(r.g.CaseKey, r.g.Sequence, idInFile(o.entry, o.key), version, refs), effect).Verified = true
	}
	return nil
}

// idInFile is the id that a resource has in files: that of a server where it
// stood before, else its key.
func idInFile(e store.LedgerEntry, key string) string {
	if e.ServerID != "" {
		return e.ServerID
	}
	return key
}

func (r *run) lines(ops []op) ([]byte, error) {
	refs := references(r.g, r.ledger, RungClientIDs)
	var b bytes.Buffer
	for _, o := range only(ops, func(o op) bool { return o.action == void }) {
		b.Write(withID(o.linked(refs), o.entry.ServerID))
		b.WriteByte('\n')
	}
	for _, res := range r.g.Resources {
		local, err := named(res.Body)
		if err != nil {
			return nil, err
		}
		b.Write(withID(op{local: local}.linked(refs), idInFile(r.ledger[res.Key], res.Key)))
		b.WriteByte('\n')
	}
	return b.Bytes(), nil
}

var errOtherContent = errors.New("writing file: there is another one of this name")

// putFile writes a file so that it is there whole or not at all, even when the
// power fails: a hidden file first, synced, then renamed, then the folder synced.
// found is true when it was there already with this content.
func putFile(path string, content []byte) (found bool, err error) {
	there, err := os.ReadFile(path) //nolint:gosec // folder of the configuration, name of our own
	switch {
	case err == nil && bytes.Equal(there, content):
		return true, nil
	case err == nil:
		return false, errOtherContent
	case !errors.Is(err, fs.ErrNotExist):
		return false, fmt.Errorf("reading folder: %w", bare(err))
	}
	folder, name := filepath.Split(path)
	if err := os.MkdirAll(folder, 0o700); err != nil {
		return false, fmt.Errorf("making folder: %w", bare(err))
	}
	// One name for each state: what a crash left behind is written over.
	hidden := filepath.Join(folder, "."+name+".part")
	if err := writeSynced(hidden, content); err != nil {
		return false, fmt.Errorf("writing file: %w", bare(err))
	}
	if err := os.Rename(hidden, path); err != nil {
		return false, fmt.Errorf("naming file: %w", bare(err))
	}
	d, err := os.Open(filepath.Clean(folder))
	if err != nil {
		return false, fmt.Errorf("syncing folder: %w", bare(err))
	}
	if err := errors.Join(d.Sync(), d.Close()); err != nil {
		return false, fmt.Errorf("syncing folder: %w", bare(err))
	}
	return false, nil
}

func writeSynced(path string, content []byte) error {
	f, err := os.OpenFile(filepath.Clean(path), os.O_CREATE|os.O_TRUNC|os.O_WRONLY, 0o600)
	if err != nil {
		return err
	}
	_, err = f.Write(content)
	return errors.Join(err, f.Sync(), f.Close())
}

// bare drops the path from an error: it holds the key of a case, which logs name
// in a field of its own.
func bare(err error) error {
	var p *fs.PathError
	if errors.As(err, &p) {
		return p.Err
	}
	var l *os.LinkError
	if errors.As(err, &l) {
		return l.Err
	}
	return err
}
