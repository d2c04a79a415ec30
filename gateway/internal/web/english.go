package web

import (
	"context"
	"errors"
	"io"

	"google.golang.org/grpc"
)

// fromService marks an error as a service's own words: they are English whatever the
// language of the page is, and the page says so to those who have it read out.
type fromService struct{ error }

func (e fromService) Unwrap() error { return e.error }

// inEnglish reports whether an error speaks the services' English.
func inEnglish(err error) bool {
	var e fromService
	return errors.As(err, &e)
}

func marked(err error) error {
	if err == nil || errors.Is(err, io.EOF) {
		return err
	}
	return fromService{err}
}

// marking is a connection that marks the errors that come over it.
type marking struct{ grpc.ClientConnInterface }

func (m marking) Invoke(ctx context.Context, method string, args, reply any, opts ...grpc.CallOption) error {
	tallyCall(ctx)
	return marked(m.ClientConnInterface.Invoke(ctx, method, args, reply, opts...))
}

func (m marking) NewStream(ctx context.Context, desc *grpc.StreamDesc, method string, opts ...grpc.CallOption) (grpc.ClientStream, error) {
	tallyCall(ctx)
	stream, err := m.ClientConnInterface.NewStream(ctx, desc, method, opts...)
	if err != nil {
		return nil, marked(err)
	}
	return markingStream{stream}, nil
}

type markingStream struct{ grpc.ClientStream }

func (s markingStream) RecvMsg(m any) error { return marked(s.ClientStream.RecvMsg(m)) }
