package pg

import (
	"context"
	"crypto/hmac"
	"crypto/pbkdf2"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"fmt"

	"github.com/jackc/pgx/v5"
)

// The passwords of the roles are derived, never rotated: any number of replicas
// may prepare the same cluster, in any order, and all come to the same
// passwords, because all derive them from one secret that only the
// administrator can read.
//
// Roles belong to the cluster, so the secret must too, and PostgreSQL has one
// place for that: the password column of pg_authid, which superusers alone
// read. The secret is the password entry of a role that cannot log in. Creating
// a role is atomic across all databases: one replica wins, the others read what
// it wrote. An administrator who is no superuser (managed PostgreSQL) keeps the
// secret in a table of the database that only he can read; then one cluster
// holds one such database of the suite.

const secretRole = "breakshare_secret"

// roleSecret reads the secret, making it first where there is none. It must run
// under the lock of Prepare or after it.
func roleSecret(ctx context.Context, conn *pgx.Conn, superuser bool) ([]byte, error) {
	if superuser {
		return clusterSecret(ctx, conn)
	}
	return databaseSecret(ctx, conn)
}

func clusterSecret(ctx context.Context, conn *pgx.Conn) ([]byte, error) {
	const read = `SELECT coalesce(rolpassword, '') FROM pg_authid WHERE rolname = $1`
	var secret string
	err := conn.QueryRow(ctx, read, secretRole).Scan(&secret)
	if err == pgx.ErrNoRows {
		verifier, verr := scramVerifier(rand.Text())
		if verr != nil {
			return nil, verr
		}
		create := `CREATE ROLE ` + secretRole + ` NOLOGIN PASSWORD '` + verifier + `'`
		if _, cerr := conn.Exec(ctx, create); cerr != nil && !isDuplicateRole(cerr) {
			return nil, fmt.Errorf("create role %s: %w", secretRole, cerr)
		}
		err = conn.QueryRow(ctx, read, secretRole).Scan(&secret)
	}
	if err != nil {
		return nil, fmt.Errorf("read the secret kept with role %s: %w", secretRole, err)
	}
	if secret == "" {
		return nil, fmt.Errorf("role %s has lost its password, from which the services' passwords are derived: DROP ROLE %s and start again, the services get new passwords", secretRole, secretRole)
	}
	return []byte(secret), nil
}

func databaseSecret(ctx context.Context, conn *pgx.Conn) ([]byte, error) {
	const create = `
		CREATE TABLE IF NOT EXISTS ` + migrationsSchema + `.role_secret (
			only_row boolean PRIMARY KEY DEFAULT true CHECK (only_row),
			secret   text NOT NULL
		);
		REVOKE ALL ON ` + migrationsSchema + `.role_secret FROM PUBLIC`
	if _, err := conn.Exec(ctx, create); err != nil {
		return nil, fmt.Errorf("create the table of the roles' secret: %w", err)
	}
	const insert = `INSERT INTO ` + migrationsSchema + `.role_secret (secret) VALUES ($1) ON CONFLICT DO NOTHING`
	if _, err := conn.Exec(ctx, insert, rand.Text()+rand.Text()); err != nil {
		return nil, fmt.Errorf("save the roles' secret: %w", err)
	}
	var secret string
	if err := conn.QueryRow(ctx, `SELECT secret FROM `+migrationsSchema+`.role_secret`).Scan(&secret); err != nil {
		return nil, fmt.Errorf("read the roles' secret: %w", err)
	}
	return []byte(secret), nil
}

// rolePassword derives the password of a role: 256 bits in base64url.
func rolePassword(secret []byte, role string) string {
	mac := hmac.New(sha256.New, secret)
	mac.Write([]byte("password of " + role))
	return base64.RawURLEncoding.EncodeToString(mac.Sum(nil))
}

// scramVerifier computes what PostgreSQL stores of a password, so that the
// password itself is neither sent nor written to the server's log.
//
// RFC 5802 section 3 and RFC 7677; the text form is that of PostgreSQL's
// documentation of pg_authid.rolpassword.
func scramVerifier(password string) (string, error) {
	salt := make([]byte, 16)
	rand.Read(salt)
	return scramVerifierSalted(password, salt, 4096)
}

func scramVerifierSalted(password string, salt []byte, iterations int) (string, error) {
	salted, err := pbkdf2.Key(sha256.New, password, salt, iterations, sha256.Size)
	if err != nil {
		return "", fmt.Errorf("derive SCRAM keys: %w", err)
	}
	mac := func(text string) []byte {
		m := hmac.New(sha256.New, salted)
		m.Write([]byte(text))
		return m.Sum(nil)
	}
	stored := sha256.Sum256(mac("Client Key"))
	b64 := base64.StdEncoding.EncodeToString
	return fmt.Sprintf("SCRAM-SHA-256$%d:%s$%s:%s", iterations, b64(salt), b64(stored[:]), b64(mac("Server Key"))), nil
}
