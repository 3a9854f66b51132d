package fhir

import (
	"crypto/hmac"
	"crypto/sha1" //nolint:gosec // see newUUIDs
	"crypto/sha256"
	"encoding/hex"
	"hash"
	"strings"

	"github.com/google/uuid"

	"enbloc/mapping/graph"
	"enbloc/mapping/report"
)

// The recipe of identities, version 1. It is frozen: to change a byte of it
// gives every resource a second copy on every server. A new recipe would need
// a new version here and a way to find what the old one made.
//
//	case key = "c" + first 40 hexadecimal digits of HMAC-SHA-256(key, "1|" tenant "|" source system "|" report id system "|" report id value)
//	role key = "k" + first 40 hexadecimal digits of HMAC-SHA-256(key, case key "|" role)
//	shared   = "k" + first 40 hexadecimal digits of HMAC-SHA-256(key, "1|" tenant "|" role)
//	UUID     = version 5 of the role key in the name space that is version 5 of graph.RoleKeySystem in the URL name space
//
// In the parts of a case key "\" and "|" are escaped by "\", so that no two
// reports can have the same one.
const (
	recipe    = "1"
	keyDigits = 40
)

var escapePart = strings.NewReplacer(`\`, `\\`, `|`, `\|`)

// CaseKey is the opaque key of the case that a report belongs to. It does not
// change between revisions and says nothing about the patient.
func CaseKey(key []byte, tenant string, rep report.Report) string {
	parts := []string{tenant, rep.SourceSystem, rep.ReportID.System, rep.ReportID.Value}
	for i, p := range parts {
		parts[i] = escapePart.Replace(p)
	}
	return newKeyer(key).key("c", recipe+"|"+strings.Join(parts, "|"))
}

// keyer makes keys; it is not safe for concurrent use.
type keyer struct {
	mac hash.Hash
	sum [sha256.Size]byte
}

func newKeyer(secret []byte) *keyer { return &keyer{mac: hmac.New(sha256.New, secret)} }

// key is the letter and the first digits of the keyed hash. The letter keeps a
// key from being all digits, which some servers refuse as an id.
func (k *keyer) key(letter, message string) string {
	k.mac.Reset()
	k.mac.Write([]byte(message))
	made := append(make([]byte, 0, 1+2*sha256.Size), letter...)
	made = hex.AppendEncode(made, k.mac.Sum(k.sum[:0]))
	return string(made[:len(letter)+keyDigits])
}

// identity makes the keys of one case.
type identity struct {
	keyer   *keyer
	tenant  string
	caseKey string
	uuids   uuids
	known   map[string]roleKey
}

// roleKey is what a role is called outside.
type roleKey struct{ key, uuid string }

// newIdentity starts the identities of one report's case.
func newIdentity(opt Options, rep report.Report) *identity {
	return &identity{keyer: newKeyer(opt.Key), tenant: opt.Tenant,
		caseKey: CaseKey(opt.Key, opt.Tenant, rep), uuids: newUUIDs(), known: make(map[string]roleKey, 128)}
}

// of returns the key of a role of the case, or of a shared role.
func (i *identity) of(role string) roleKey {
	if known, ok := i.known[role]; ok {
		return known
	}
	message := i.caseKey + "|" + role
	if isShared(role) {
		message = recipe + "|" + escapePart.Replace(i.tenant) + "|" + role
	}
	key := i.keyer.key("k", message)
	made := roleKey{key: key, uuid: i.uuids.of(key)}
	i.known[role] = made
	return made
}

// opaque shortens a value of the report to 12 digits that stand for it in a
// role: roles are shown to operators and may hold no patient data.
func (i *identity) opaque(values ...string) string {
	message := i.caseKey + "|value"
	for _, v := range values {
		message += "|" + escapePart.Replace(v)
	}
	return i.keyer.key("", message)[:12]
}

const sharedPrefix = "shared/"

// isShared tells roles that belong to the site rather than to a case.
func isShared(role string) bool { return strings.HasPrefix(role, sharedPrefix) }

var uuidSpace = uuid.NewSHA1(uuid.NameSpaceURL, []byte(graph.RoleKeySystem))

// uuids makes UUIDs of role keys; it is not safe for concurrent use.
type uuids struct{ sha1 hash.Hash }

func newUUIDs() uuids { return uuids{sha1.New()} } //nolint:gosec // RFC 9562 defines version 5 by SHA-1

func (u uuids) of(key string) string { return uuid.NewHash(u.sha1, uuidSpace, []byte(key), 5).String() }
