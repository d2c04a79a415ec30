package rpc

import (
	"crypto/tls"
	"crypto/x509"
	"fmt"
	"os"
)

// TLSFiles are the PEM files of one service for mutual TLS: each side shows
// Cert and believes only certificates that CA signed. All three or none must
// be set; none means loopback only.
type TLSFiles struct {
	Cert string `json:"cert"` // the service's certificate, with the chain to CA
	Key  string `json:"key"`  // its private key
	CA   string `json:"ca"`   // the authority that signs all services
}

// Load returns the configurations for listening and for dialling, both nil
// when no file is set. Errors name the file.
func (f TLSFiles) Load() (server, client *tls.Config, err error) {
	if f == (TLSFiles{}) {
		return nil, nil, nil
	}
	if f.Cert == "" || f.Key == "" || f.CA == "" {
		return nil, nil, fmt.Errorf("TLS needs all of cert, key and ca; set are cert %q, key %q, ca %q", f.Cert, f.Key, f.CA)
	}
	pair, err := tls.LoadX509KeyPair(f.Cert, f.Key)
	if err != nil {
		return nil, nil, fmt.Errorf("load the TLS certificate %s with key %s: %w", f.Cert, f.Key, err)
	}
	pem, err := os.ReadFile(f.CA)
	if err != nil {
		return nil, nil, fmt.Errorf("read the TLS authority: %w", err)
	}
	pool := x509.NewCertPool()
	if !pool.AppendCertsFromPEM(pem) {
		return nil, nil, fmt.Errorf("the TLS authority %s holds no PEM certificate", f.CA)
	}
	server = &tls.Config{
		Certificates: []tls.Certificate{pair}, MinVersion: tls.VersionTLS13,
		ClientCAs: pool, ClientAuth: tls.RequireAndVerifyClientCert,
	}
	client = &tls.Config{
		Certificates: []tls.Certificate{pair}, MinVersion: tls.VersionTLS13,
		RootCAs: pool,
	}
	return server, client, nil
}
