package signin

import (
	"crypto"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rsa"
	"crypto/x509"
	"encoding/pem"
	"errors"
	"time"

	"github.com/golang-jwt/jwt/v5"
	"github.com/google/uuid"
)

// lifetime of an assertion: five minutes at most
// (https://hl7.org/fhir/smart-app-launch/client-confidential-asymmetric.html),
// and clocks differ.
const lifetime = 4 * time.Minute

// assertion is a JSON Web Token by which the client names itself; each is for
// one use.
func (s *Source) assertion(audience string, now time.Time) (string, error) {
	t := jwt.NewWithClaims(s.how, jwt.RegisteredClaims{
		Issuer: s.settings.ClientID, Subject: s.settings.ClientID, Audience: jwt.ClaimStrings{audience}, ID: uuid.NewString(),
		IssuedAt: jwt.NewNumericDate(now), ExpiresAt: jwt.NewNumericDate(now.Add(lifetime)),
	})
	if s.settings.KeyID != "" {
		t.Header["kid"] = s.settings.KeyID
	}
	signed, err := t.SignedString(s.settings.Key)
	if err != nil {
		return "", errors.New("signing in at the target: the private key does not sign")
	}
	return signed, nil
}

// method is RS384 or ES384, the two that SMART asks servers to support.
func method(key crypto.Signer) (jwt.SigningMethod, error) {
	switch k := key.(type) {
	case *rsa.PrivateKey:
		if k.N.BitLen() < 2048 {
			return nil, errors.New("the private key has fewer than 2048 bits")
		}
		return jwt.SigningMethodRS384, nil
	case *ecdsa.PrivateKey:
		if k.Curve != elliptic.P384() {
			return nil, errors.New("the private key is on another curve than P-384")
		}
		return jwt.SigningMethodES384, nil
	}
	return nil, errors.New("the private key is neither RSA nor on P-384")
}

// ReadKey reads a private key from PEM: PKCS #8, PKCS #1 or SEC 1, not
// encrypted. Its errors hold nothing of it.
func ReadKey(raw []byte) (crypto.Signer, error) {
	block, _ := pem.Decode(raw)
	if block == nil {
		return nil, errors.New("the file holds no PEM block: make a key with: openssl ecparam -name secp384r1 -genkey -noout")
	}
	var key any
	var err error
	switch block.Type {
	case "PRIVATE KEY":
		key, err = x509.ParsePKCS8PrivateKey(block.Bytes)
	case "RSA PRIVATE KEY":
		key, err = x509.ParsePKCS1PrivateKey(block.Bytes)
	case "EC PRIVATE KEY":
		key, err = x509.ParseECPrivateKey(block.Bytes)
	default:
		return nil, errors.New("the file holds a PEM block of another kind than a private key that is not encrypted")
	}
	signer, ok := key.(crypto.Signer)
	if err != nil || !ok {
		return nil, errors.New("the private key cannot be read")
	}
	_, err = method(signer)
	return signer, err
}
