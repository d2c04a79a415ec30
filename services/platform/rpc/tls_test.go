package rpc

import (
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"errors"
	"math/big"
	"net"
	"os"
	"path/filepath"
	"testing"
	"time"

	testgrpc "google.golang.org/grpc/interop/grpc_testing"

	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
)

func TestBeyondLoopbackNeedsTLS(t *testing.T) {
	t.Parallel()
	for target, want := range map[string]bool{
		"127.0.0.1:5001":            true,
		"127.8.8.8:5001":            true,
		"[::1]:5001":                true,
		"[::ffff:127.0.0.1]:5001":   true,
		"localhost:5001":            true,
		"dns:///localhost:5001":     true,
		"passthrough:///[::1]:5001": true,
		"unix:/run/breakshare.sock": true,
		"unix:///run/x.sock":        true,
		"10.0.0.7:5001":             false,
		"harvest:5001":              false,
		"dns:///harvest:5001":       false,
		"localhost.example:5001":    false,
		"0.0.0.0:5001":              false,
		":5001":                     false,
		"[::]:5001":                 false,
	} {
		conn, err := Dial(target, DialOptions{Tokens: testTokens()})
		if (err == nil) != want || (err != nil && !errors.Is(err, ErrNeedsTLS)) {
			t.Errorf("Dial(%q): %v, want it allowed: %v", target, err, want)
		}
		if conn != nil {
			_ = conn.Close()
		}
	}
	lis, err := net.Listen("tcp", "0.0.0.0:0")
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = lis.Close() }()
	log, _ := testLog(t)
	if err := NewServer(ServerOptions{Log: log, Tokens: testTokens()}).Serve(lis); !errors.Is(err, ErrNeedsTLS) {
		t.Errorf("Serve on all addresses in the clear: %v", err)
	}
}

// writePair signs a certificate for localhost by the authority (itself where
// there is none) and writes certificate and key as PEM files.
func writePair(t *testing.T, dir, name string, ca *x509.Certificate, caKey *ecdsa.PrivateKey) (*x509.Certificate, *ecdsa.PrivateKey) {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	tmpl := &x509.Certificate{
		SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: name},
		NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour),
		DNSNames: []string{"localhost"}, BasicConstraintsValid: true, IsCA: ca == nil,
		KeyUsage: x509.KeyUsageDigitalSignature | x509.KeyUsageCertSign,
	}
	if ca == nil {
		ca, caKey = tmpl, key
	}
	der, err := x509.CreateCertificate(rand.Reader, tmpl, ca, &key.PublicKey, caKey)
	if err != nil {
		t.Fatal(err)
	}
	pkcs8, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		t.Fatal(err)
	}
	for file, block := range map[string]*pem.Block{
		name + ".pem": {Type: "CERTIFICATE", Bytes: der}, name + ".key": {Type: "PRIVATE KEY", Bytes: pkcs8},
	} {
		if err := os.WriteFile(filepath.Join(dir, file), pem.EncodeToMemory(block), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	cert, err := x509.ParseCertificate(der)
	if err != nil {
		t.Fatal(err)
	}
	return cert, key
}

func TestMutualTLS(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	ca, caKey := writePair(t, dir, "ca", nil, nil)
	writePair(t, dir, "harvest", ca, caKey)
	writePair(t, dir, "stranger", nil, nil)
	in := func(name string) string { return filepath.Join(dir, name) }
	server, client, err := TLSFiles{Cert: in("harvest.pem"), Key: in("harvest.key"), CA: in("ca.pem")}.Load()
	if err != nil {
		t.Fatal(err)
	}
	_, stranger, err := TLSFiles{Cert: in("stranger.pem"), Key: in("stranger.key"), CA: in("ca.pem")}.Load()
	if err != nil {
		t.Fatal(err)
	}
	log, _ := testLog(t)
	s := NewServer(ServerOptions{Log: log, Tokens: testTokens(), TLS: server, Policy: everyRole(unaryCall)})
	testgrpc.RegisterTestServiceServer(s, &service{onUnary: func(context.Context) error { return nil }})
	lis, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	go func() { _ = s.Serve(lis) }()
	defer func() { _ = s.Stop(context.Background()) }()
	_, port, err := net.SplitHostPort(lis.Addr().String())
	if err != nil {
		t.Fatal(err)
	}
	for name, o := range map[string]DialOptions{
		"known":     {TLS: client},
		"stranger":  {TLS: stranger},
		"plaintext": {},
	} {
		o.Tokens = testTokens()
		conn, err := Dial("localhost:"+port, o)
		if err != nil {
			t.Fatal(err)
		}
		_, err = testgrpc.NewTestServiceClient(conn).UnaryCall(as(identity.Service), nil)
		if name == "known" && err != nil {
			t.Errorf("%s: %v", name, err)
		}
		if name != "known" && fault.KindOf(err) != fault.Unavailable {
			t.Errorf("%s: %v, want it turned away", name, err)
		}
		_ = conn.Close()
	}
}

func TestTLSFilesRefuses(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	writePair(t, dir, "a", nil, nil)
	writePair(t, dir, "b", nil, nil)
	in := func(name string) string { return filepath.Join(dir, name) }
	if server, client, err := (TLSFiles{}).Load(); server != nil || client != nil || err != nil {
		t.Errorf("no files: %v %v %v, want nothing", server, client, err)
	}
	for name, f := range map[string]TLSFiles{
		"one missing":       {Cert: in("a.pem"), Key: in("a.key")},
		"key of another":    {Cert: in("a.pem"), Key: in("b.key"), CA: in("a.pem")},
		"authority no file": {Cert: in("a.pem"), Key: in("a.key"), CA: in("none.pem")},
		"authority a key":   {Cert: in("a.pem"), Key: in("a.key"), CA: in("a.key")},
	} {
		if _, _, err := f.Load(); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
}
