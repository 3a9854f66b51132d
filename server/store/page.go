package store

import (
	"database/sql"
	"encoding/base64"
	"errors"
	"strconv"
	"strings"

	"enbloc/server/fault"
)

const (
	defaultPage = 50
	largestPage = 500
)

func pageSize(asked int) int {
	switch {
	case asked <= 0:
		return defaultPage
	case asked > largestPage:
		return largestPage
	}
	return asked
}

// joinCursor and splitCursor carry the place of the last row of a page. A
// cursor is opaque to callers, not secret.
func joinCursor(at int64, key string) string {
	return base64.RawURLEncoding.EncodeToString([]byte(strconv.FormatInt(at, 10) + " " + key))
}

func splitCursor(cursor string) (at int64, key string, err error) {
	raw, err := base64.RawURLEncoding.DecodeString(cursor)
	number, key, ok := strings.Cut(string(raw), " ")
	if err == nil && ok {
		at, err = strconv.ParseInt(number, 10, 64)
	}
	if err != nil || !ok {
		return 0, "", fault.New(fault.Malformed, "The page cursor is not one of ours. Start again from the first page.")
	}
	return at, key, nil
}

// found turns "no rows" into a fault that says what is missing.
func found(what string, err error) error {
	if errors.Is(err, sql.ErrNoRows) {
		return notFound(what)
	}
	return translate("reading "+what, err)
}

// oneRow gives otherwise when a statement changed no row.
func oneRow(res sql.Result, otherwise error) error {
	n, err := res.RowsAffected()
	if err != nil {
		return translate("counting rows", err)
	}
	if n == 0 {
		return otherwise
	}
	return nil
}
