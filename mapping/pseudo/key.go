package pseudo

import (
	"crypto/hmac"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"strings"

	"github.com/google/uuid"
)

// The recipe of pseudonyms, version 1. It is frozen: to change a byte of it
// makes every case a new one at the recipient.
//
//	pseudonym = letter + first 40 hexadecimal digits of HMAC-SHA-256(secret, "1|" name "|" kind "|" value)
//	patient:  letter p, kind "patient", value: identifier system "|" value
//	case:     letter c, kind "case", value: the site's case key
//	resource: letter k, kind "role", value: the site's role key
//	shift:    first 8 bytes, big endian, of the HMAC of kind "shift" and the patient's value, modulo 365, plus 1
//	UUID:     version 5 of the resource's pseudonym in the name space that is version 5 of the role-key system in the URL name space
//
// In the parts "\" and "|" are escaped by "\". The name is in it so that even
// two recipients who were given one secret cannot join their cases.
const (
	recipe    = "1"
	keyDigits = 40
	// longestShift is the most that dates move back, in days.
	longestShift = 365
)

var escapePart = strings.NewReplacer(`\`, `\\`, `|`, `\|`)

func (r *Recipient) mac(kind string, values ...string) []byte {
	message := recipe + "|" + r.Name + "|" + kind
	for _, v := range values {
		message += "|" + escapePart.Replace(v)
	}
	m := hmac.New(sha256.New, r.Secret)
	m.Write([]byte(message))
	return m.Sum(nil)
}

func (r *Recipient) key(letter, kind string, values ...string) string {
	return letter + hex.EncodeToString(r.mac(kind, values...))[:keyDigits]
}

// Patient is the recipient's pseudonym of a patient by identifier.
func (r *Recipient) Patient(system, value string) string {
	return r.key("p", "patient", system, value)
}

// CaseKey is the recipient's pseudonym of a case by the site's key.
func (r *Recipient) CaseKey(caseKey string) string { return r.key("c", "case", caseKey) }

// RoleKey is the recipient's pseudonym of a resource by the site's key.
func (r *Recipient) RoleKey(roleKey string) string { return r.key("k", "role", roleKey) }

func (r *Recipient) uuid(key string) string {
	return uuid.NewSHA1(r.space, []byte(key)).String()
}

// offset is how many days the dates of a patient move back. The token is that of
// the reference, which is escaped and therefore tells system from value.
func (r *Recipient) offset(patient string) int {
	system, value := splitToken(patient)
	return int(binary.BigEndian.Uint64(r.mac("shift", system, value))%longestShift) + 1
}
