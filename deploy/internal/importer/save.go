package importer

import (
	"context"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"
)

// method is a call of a generated client.
type method[Req, Res proto.Message] = func(context.Context, Req, ...grpc.CallOption) (Res, error)

// save sends what is pending of a file in one call, or nothing where all of it is there
// already. request wraps the elements.
func save[M, Req, Res proto.Message](ctx context.Context, r *run, from source, p pending[M], request func([]M) Req, call method[Req, Res]) (Outcome, error) {
	items := p.all()
	if len(items) == 0 {
		return p.outcome(), nil
	}
	req := request(messages(items))
	from.lines = linesOf(items)
	err := r.send(ctx, from, req, func(ctx context.Context) error {
		_, err := call(ctx, req)
		return err
	})
	if err == nil {
		r.told = time.Now()
	}
	return p.outcome(), err
}
