// Package requestlog makes calls that change something safe to send again: the
// answer to a request id is kept in the transaction of the change, and the same
// request gets it once more.
package requestlog

import (
	"context"
	"crypto/sha256"
	"fmt"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"
	"google.golang.org/protobuf/proto"

	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/ids"
	"breakshare.example/services/platform/pg"
)

// ReasonReused is the reason of the fault for a request id that came before
// with another body or from another caller.
const ReasonReused = "REQUEST_ID_REUSED"

// Once runs fn at most once for a request id within the caller's co-op, in one
// transaction with the record of its answer.
//
// The first call runs fn. A later one with the same body, by the same role for
// the same farm, yard or customer, gets the first answer, unmarshalled into
// fresh; fn does not run. One that comes while the first still runs waits for
// it. With another body or caller the error is a fault of kind Exists with
// ReasonReused. When fn fails nothing is kept, and the same id may try again.
//
// fn may run more than once within one call, see pg.InTx. The caller's identity
// must be in ctx. A requestID that is not a UUID is a fault of kind Invalid.
func Once[R proto.Message](ctx context.Context, pool *pgxpool.Pool, requestID string, req proto.Message, fresh R, fn func(ctx context.Context, tx pgx.Tx) (R, error)) (R, error) {
	var none R
	if !ids.Valid(requestID) {
		return none, fault.InvalidField("request_id", "%q is not a UUID: make a new one for each new request and keep it when sending the same again", requestID)
	}
	caller := identity.Must(ctx)
	digest, err := digest(caller, req)
	if err != nil {
		return none, err
	}
	call := record{coop: caller.CoopID, id: requestID, method: methodOf(req), digest: digest}
	answer := none
	err = pg.InTx(ctx, pool, caller.CoopID, func(ctx context.Context, tx pgx.Tx) error {
		first, err := call.insert(ctx, tx)
		if err != nil {
			return err
		}
		if !first {
			answer = fresh
			return call.replay(ctx, tx, fresh)
		}
		if answer, err = fn(ctx, tx); err != nil {
			return err
		}
		return call.save(ctx, tx, answer)
	})
	if err != nil {
		return none, err
	}
	return answer, nil
}

// record is one row of request_log.
type record struct {
	coop, id, method string
	digest           []byte
}

// methodOf names the call by its request message: each RPC has its own.
func methodOf(req proto.Message) string { return string(req.ProtoReflect().Descriptor().FullName()) }

// digest is over the request and over who asks: an answer is replayed only to
// those who may see it.
func digest(caller identity.Identity, req proto.Message) ([]byte, error) {
	body, err := proto.MarshalOptions{Deterministic: true}.Marshal(req)
	if err != nil {
		return nil, fmt.Errorf("request log: marshal the request: %w", err)
	}
	h := sha256.New()
	fmt.Fprintf(h, "%q %q %q %q %q ", methodOf(req), caller.Role, caller.FarmID, caller.YardID, caller.CustomerID)
	h.Write(body)
	return h.Sum(nil), nil
}

// insert reports whether this call is the first with its id. Where another
// transaction has inserted the id and not ended, it waits for that end.
func (r record) insert(ctx context.Context, tx pgx.Tx) (bool, error) {
	const sql = `
		INSERT INTO request_log (coop_id, request_id, method, body_sha256)
		VALUES ($1, $2, $3, $4)
		ON CONFLICT (coop_id, request_id) DO NOTHING`
	tag, err := tx.Exec(ctx, sql, r.coop, r.id, r.method, r.digest)
	if err != nil {
		return false, fmt.Errorf("request log: insert: %w", err)
	}
	return tag.RowsAffected() == 1, nil
}

// replay reads the first answer, after seeing that the request is the same.
func (r record) replay(ctx context.Context, tx pgx.Tx, into proto.Message) error {
	const sql = `SELECT body_sha256, method, answer FROM request_log WHERE coop_id = $1 AND request_id = $2`
	var digest, answer []byte
	var method string
	if err := tx.QueryRow(ctx, sql, r.coop, r.id).Scan(&digest, &method, &answer); err != nil {
		return fmt.Errorf("request log: read the first answer: %w", err)
	}
	if string(digest) != string(r.digest) {
		return fault.New(fault.Exists, ReasonReused,
			"request id %s was used before for another request (%s): make a new id for a new request", r.id, method).WithMeta("requestId", r.id)
	}
	if err := proto.Unmarshal(answer, into); err != nil {
		return fmt.Errorf("request log: unmarshal the first answer: %w", err)
	}
	return nil
}

func (r record) save(ctx context.Context, tx pgx.Tx, answer proto.Message) error {
	body, err := proto.Marshal(answer)
	if err != nil {
		return fmt.Errorf("request log: marshal the answer: %w", err)
	}
	if body == nil {
		body = []byte{} // an empty answer is an answer
	}
	const sql = `UPDATE request_log SET answer = $3 WHERE coop_id = $1 AND request_id = $2`
	if _, err := tx.Exec(ctx, sql, r.coop, r.id, body); err != nil {
		return fmt.Errorf("request log: save the answer: %w", err)
	}
	return nil
}
