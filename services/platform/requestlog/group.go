package requestlog

import (
	"context"
	"errors"
	"fmt"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
	"google.golang.org/protobuf/proto"

	"breakshare.example/services/platform/identity"
)

// Call is one of several requests that are answered in one transaction. All are
// of one co-op, each with an id of its own.
type Call struct {
	Caller    identity.Identity
	RequestID string
	Request   proto.Message
}

// ErrKnown says that a request of a group came before.
var ErrKnown = errors.New("request log: a request of the group came before")

// Settle keeps the answers of calls that were carried out in tx, as Once does
// for one. Where one of them came before, or comes by itself meanwhile, it
// returns ErrKnown: the transaction must not be committed, and each call must go
// through Once, which answers or refuses it. Rows are written in the order of
// their ids, so that two groups do not wait for one another in a circle.
func Settle(ctx context.Context, tx pgx.Tx, calls []Call, answers []proto.Message) error {
	b := &pgx.Batch{}
	if err := Queue(b, calls, answers); err != nil {
		return err
	}
	return tx.SendBatch(ctx, b).Close()
}

// Queue is Settle as a part of a batch of statements, which the caller sends.
func Queue(b *pgx.Batch, calls []Call, answers []proto.Message) error {
	const sql = `
		INSERT INTO request_log (coop_id, request_id, method, body_sha256, answer)
		SELECT c.coop, c.id, c.method, c.digest, c.answer
		FROM unnest($1::uuid[], $2::uuid[], $3::text[], $4::bytea[], $5::bytea[]) AS c (coop, id, method, digest, answer)
		ORDER BY c.id
		ON CONFLICT (coop_id, request_id) DO NOTHING`
	n := len(calls)
	coops, ids, methods, digests, bodies := make([]string, n), make([]string, n), make([]string, n), make([][]byte, n), make([][]byte, n)
	for i, c := range calls {
		var err error
		if digests[i], err = digest(c.Caller, c.Request); err != nil {
			return err
		}
		body, err := proto.Marshal(answers[i])
		if err != nil {
			return fmt.Errorf("request log: marshal the answer: %w", err)
		}
		coops[i], ids[i], methods[i], bodies[i] = c.Caller.CoopID, c.RequestID, methodOf(c.Request), append([]byte{}, body...)
	}
	b.Queue(sql, coops, ids, methods, digests, bodies).Exec(func(tag pgconn.CommandTag) error {
		if tag.RowsAffected() != int64(n) {
			return ErrKnown
		}
		return nil
	})
	return nil
}
