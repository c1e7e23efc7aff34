package dcc

import (
	"crypto"
	"crypto/ecdsa"
	"crypto/rsa"
	"crypto/sha256"
	"crypto/tls"
	"crypto/x509"
	"encoding/asn1"
	"encoding/base64"
	"errors"
	"fmt"
	"hash"
	"io"
	"math/big"
	"net/url"
	"time"

	"github.com/beevik/etree"
	dsig "github.com/russellhaering/goxmldsig"
)

const (
	namespaceDS  = "http://www.w3.org/2000/09/xmldsig#"
	digestSHA256 = "http://www.w3.org/2001/04/xmlenc#sha256"
	leastRSABits = 2048
)

// Signer signs certificates with the key of an X.509 certificate.
type Signer struct {
	key  crypto.Signer
	cert *x509.Certificate
}

// NewSigner takes a certificate and its private key, both PEM: RSA of 2048 bits
// or more, or ECDSA. now is the time of signing: the certificate must be valid.
func NewSigner(certificate, key []byte, now time.Time) (*Signer, error) {
	pair, err := tls.X509KeyPair(certificate, key)
	if err != nil {
		return nil, fmt.Errorf("the signing certificate and its key: %w; expected one PEM file each, of one key pair, the key without a passphrase", err)
	}
	cert, err := x509.ParseCertificate(pair.Certificate[0])
	if err != nil {
		return nil, fmt.Errorf("the signing certificate: %w", err)
	}
	if now.Before(cert.NotBefore) || now.After(cert.NotAfter) {
		return nil, fmt.Errorf("the signing certificate is valid from %s to %s, and it is %s", cert.NotBefore.Format(time.DateOnly), cert.NotAfter.Format(time.DateOnly), now.UTC().Format(time.DateOnly))
	}
	switch k := pair.PrivateKey.(type) {
	case *rsa.PrivateKey:
		if k.N.BitLen() < leastRSABits {
			return nil, fmt.Errorf("the signing key has %d bits; RSA needs at least %d", k.N.BitLen(), leastRSABits)
		}
		return &Signer{k, cert}, nil
	case *ecdsa.PrivateKey:
		return &Signer{k, cert}, nil
	}
	return nil, errors.New("the signing key is neither RSA nor ECDSA: XML signatures have no other that programs agree on")
}

// Digest takes the bytes of the file that is to be signed, as they are written.
func Digest() hash.Hash { return sha256.New() }

// Detached writes an XML signature (XMLDSig) of the file of that name, which lies
// beside it: schema version 3.1.2 has no place for a signature within, and one
// put there would make the file invalid. digest is the SHA-256 of the file's
// bytes, with no transform in between, so that sha256sum shows the same.
func (s *Signer) Detached(w io.Writer, name string, digest []byte) error {
	if len(digest) != sha256.Size {
		return fmt.Errorf("digest has %d bytes; SHA-256 has %d", len(digest), sha256.Size)
	}
	context, err := dsig.NewSigningContext(rawECDSA{s.key}, [][]byte{s.cert.Raw})
	if err != nil {
		return err
	}
	method := dsig.RSASHA256SignatureMethod
	if _, ok := s.key.Public().(*ecdsa.PublicKey); ok {
		method = dsig.ECDSASHA256SignatureMethod
	}
	info := etree.NewElement("ds:SignedInfo")
	info.CreateAttr("xmlns:ds", namespaceDS)
	c14n := dsig.MakeC14N10ExclusiveCanonicalizerWithPrefixList("")
	info.CreateElement("ds:CanonicalizationMethod").CreateAttr("Algorithm", string(c14n.Algorithm()))
	info.CreateElement("ds:SignatureMethod").CreateAttr("Algorithm", method)
	reference := info.CreateElement("ds:Reference")
	reference.CreateAttr("URI", url.PathEscape(name))
	reference.CreateElement("ds:DigestMethod").CreateAttr("Algorithm", digestSHA256)
	reference.CreateElement("ds:DigestValue").SetText(base64.StdEncoding.EncodeToString(digest))
	canonical, err := c14n.Canonicalize(info.Copy())
	if err != nil {
		return fmt.Errorf("signature: %w", err)
	}
	value, err := context.SignString(string(canonical))
	if err != nil {
		return fmt.Errorf("signature: %w", err)
	}
	doc := etree.NewDocument()
	doc.CreateProcInst("xml", `version="1.0" encoding="UTF-8"`)
	signature := doc.CreateElement("ds:Signature")
	signature.CreateAttr("xmlns:ds", namespaceDS)
	info.RemoveAttr("xmlns:ds") // declared by its parent
	signature.AddChild(info)
	signature.CreateElement("ds:SignatureValue").SetText(base64.StdEncoding.EncodeToString(value))
	signature.CreateElement("ds:KeyInfo").CreateElement("ds:X509Data").CreateElement("ds:X509Certificate").SetText(base64.StdEncoding.EncodeToString(s.cert.Raw))
	_, err = doc.WriteTo(w)
	return err
}

// rawECDSA gives ECDSA signatures as XMLDSig wants them: r and s one after the
// other, each as long as the curve's order (XML Signature 1.1, 6.4.3), where Go gives ASN.1.
type rawECDSA struct{ crypto.Signer }

// Sign signs a digest.
func (s rawECDSA) Sign(random io.Reader, digest []byte, o crypto.SignerOpts) ([]byte, error) {
	value, err := s.Signer.Sign(random, digest, o)
	public, ok := s.Public().(*ecdsa.PublicKey)
	if err != nil || !ok {
		return value, err
	}
	var pair struct{ R, S *big.Int }
	if _, err := asn1.Unmarshal(value, &pair); err != nil {
		return nil, err
	}
	size := (public.Params().N.BitLen() + 7) / 8
	return append(pair.R.FillBytes(make([]byte, size)), pair.S.FillBytes(make([]byte, size))...), nil
}
