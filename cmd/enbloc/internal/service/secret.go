package service

import (
	"bytes"
	"crypto/rand"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
)

// keyBytes is the length of the identity key: as long as the output of the
// SHA-256 that it drives (RFC 2104, section 3, advises no shorter key).
const keyBytes = 32

// maxSecret bounds a file of secrets, so that a wrong path (a log, a device)
// is refused instead of read.
const maxSecret = 8 << 10

// ReadSecret reads a token or password from a file: its content without the
// line break at the end. An empty or overlong file is refused. The error names
// the file and never its content.
func ReadSecret(path string) (string, error) {
	info, err := os.Stat(path)
	if err != nil {
		return "", fmt.Errorf("reading secret: %w", err)
	}
	if info.IsDir() || info.Size() > maxSecret {
		return "", fmt.Errorf("reading secret: %s is not a file of at most %d bytes", path, maxSecret)
	}
	raw, err := os.ReadFile(filepath.Clean(path))
	if err != nil {
		return "", fmt.Errorf("reading secret: %w", err)
	}
	raw = bytes.TrimRight(raw, "\r\n")
	if len(raw) == 0 || len(raw) > maxSecret {
		return "", fmt.Errorf("reading secret: %s is empty or too long", path)
	}
	if bytes.ContainsAny(raw, "\r\n\x00") {
		return "", fmt.Errorf("reading secret: %s has more than one line", path)
	}
	return string(raw), nil
}

// LoadKey reads the secret key that makes every identity the site sends: 32
// bytes as 64 hexadecimal digits. Whoever loses it can never again update what
// was delivered under it, so it belongs in the backup, apart from the store.
func LoadKey(path string) ([]byte, error) {
	text, err := ReadSecret(path)
	if err != nil {
		return nil, err
	}
	key, err := hex.DecodeString(text)
	if err != nil || len(key) != keyBytes {
		return nil, fmt.Errorf("reading identity key: %s does not hold %d hexadecimal digits; "+
			"restore the file from its backup, or make one with: openssl rand -hex %d", path, 2*keyBytes, keyBytes)
	}
	return key, nil
}

// KeyName is the file of the identity key in the data folder.
const KeyName = "identity.key"

// LoadOrMakeKey loads the key, or makes it where no file is. It is for single
// sends, which keep no store that could tell a first use from a lost key; made
// says that it was made, which its user must be told.
func LoadOrMakeKey(path string) (key []byte, made bool, err error) {
	if !absent(path) {
		key, err = LoadKey(path)
		return key, false, err
	}
	key, err = MakeKey(path)
	return key, err == nil, err
}

// MakeKey makes a new key and writes it, readable for its owner only, where no
// file is yet. It is on the disk when MakeKey returns.
func MakeKey(path string) ([]byte, error) {
	key := make([]byte, keyBytes)
	if _, err := rand.Read(key); err != nil {
		return nil, fmt.Errorf("making identity key: %w", err)
	}
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		return nil, fmt.Errorf("making folder of identity key: %w", err)
	}
	f, err := os.OpenFile(filepath.Clean(path), os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
	if err != nil {
		return nil, fmt.Errorf("making identity key: %w", err)
	}
	_, err = f.WriteString(hex.EncodeToString(key) + "\n")
	if err = errors.Join(err, f.Sync(), f.Close()); err != nil {
		return nil, fmt.Errorf("writing identity key: %w", err)
	}
	return key, syncFolder(filepath.Dir(path))
}

// syncFolder makes the entry of a new file durable (fsync(2): syncing a file
// does not sync the folder that names it).
func syncFolder(path string) error {
	folder, err := os.Open(filepath.Clean(path))
	if err != nil {
		return fmt.Errorf("opening folder of identity key: %w", err)
	}
	if err := errors.Join(folder.Sync(), folder.Close()); err != nil {
		return fmt.Errorf("syncing folder of identity key: %w", err)
	}
	return nil
}

// absent reports whether no file stands at path.
func absent(path string) bool {
	_, err := os.Stat(path)
	return errors.Is(err, fs.ErrNotExist)
}
