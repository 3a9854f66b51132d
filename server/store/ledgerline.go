package store

import (
	"bytes"
	"encoding/binary"
	"encoding/gob"
	"errors"
	"fmt"
	"io"
)

// A page unpacked is a byte that tells the form, and then the entries, one behind
// the other: seven texts (role key, role, type, server id, version, hash, body),
// each behind its length; the sequence, 1 for voided or 0, and the time as
// microseconds. Numbers are as encoding/binary appends them.

// lineForm begins a page. The form before, a stream of gobs, never began with 0.
const lineForm = 0

var errDamaged = errors.New("unpacking page: it is damaged")

func appendLines(to []byte, entries []LedgerEntry) []byte {
	to = append(to, lineForm)
	for _, e := range entries {
		for _, text := range [...]string{e.RoleKey, e.Role, e.Type, e.ServerID, e.Version, e.Hash} {
			to = append(binary.AppendUvarint(to, uint64(len(text))), text...)
		}
		to = append(binary.AppendUvarint(to, uint64(len(e.Body))), e.Body...)
		to = binary.AppendVarint(to, int64(e.Sequence))
		to = binary.AppendVarint(to, flag(e.Voided))
		to = binary.AppendVarint(to, micros(e.Written))
	}
	return to
}

// readLines returns entries whose bodies lie in plain.
func readLines(plain []byte) ([]LedgerEntry, error) {
	if len(plain) == 0 || plain[0] != lineForm {
		return readGobs(plain)
	}
	r := lineReader{rest: plain[1:]}
	var entries []LedgerEntry
	for len(r.rest) > 0 {
		e := LedgerEntry{RoleKey: string(r.text()), Role: string(r.text()), Type: string(r.text()), ServerID: string(r.text()),
			Version: string(r.text()), Hash: string(r.text()), Body: r.text()}
		if len(e.Body) == 0 {
			e.Body = nil // thinned
		}
		e.Sequence, e.Voided, e.Written = int(r.number()), r.number() != 0, fromMicros(r.number())
		if r.damaged {
			return nil, errDamaged
		}
		entries = append(entries, e)
	}
	return entries, nil
}

// lineReader reads what is left of a page, and nothing more once it is damaged.
type lineReader struct {
	rest    []byte
	damaged bool
}

func (r *lineReader) text() []byte {
	n, size := binary.Uvarint(r.rest)
	if size <= 0 || n > uint64(len(r.rest)-size) {
		r.rest, r.damaged = nil, true
		return nil
	}
	end := size + int(n) //nolint:gosec // it is no more than what is left
	text := r.rest[size:end:end]
	r.rest = r.rest[end:]
	return text
}

func (r *lineReader) number() int64 {
	n, size := binary.Varint(r.rest)
	if size <= 0 {
		r.rest, r.damaged = nil, true
		return 0
	}
	r.rest = r.rest[size:]
	return n
}

// line is an entry as pages held it at first, which is still read. Names are part
// of the stored form.
type line struct {
	RoleKey, Role, Type, ServerID, Version, Hash string
	Body                                         []byte
	Sequence                                     int
	Voided                                       bool
	Written                                      int64 // as micros gives it
}

func readGobs(plain []byte) ([]LedgerEntry, error) {
	var entries []LedgerEntry
	for from := gob.NewDecoder(bytes.NewReader(plain)); ; {
		var l line
		switch err := from.Decode(&l); {
		case errors.Is(err, io.EOF):
			return entries, nil
		case err != nil:
			return nil, fmt.Errorf("decoding page: %w", err)
		}
		entries = append(entries, LedgerEntry{RoleKey: l.RoleKey, Role: l.Role, Type: l.Type, ServerID: l.ServerID, Version: l.Version,
			Hash: l.Hash, Body: l.Body, Sequence: l.Sequence, Voided: l.Voided, Written: fromMicros(l.Written)})
	}
}
