package rpctest

import (
	"context"
	"errors"
	"io"
	"strings"
	"testing"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"

	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
)

// Roles is who may call what, written out.
type Roles struct {
	// MayCall has for each RPC the first letters of the roles that may call it: c(oordinator),
	// g(rower), y(ard manager), b(uyer), o(perator), s(ervice).
	MayCall map[string]string
	// Instead has the message to send where an empty one would be more than a knock on the door.
	Instead map[string]proto.Message
	// As is the context of a call by a role.
	As func(role identity.Role) context.Context
}

// Check calls every RPC of the service as every role. An empty message is answered, is refused
// for its shape, or names nothing that is there where the policy lets the role in; else it is
// forbidden.
func (r Roles) Check(t *testing.T, conn *grpc.ClientConn, service string) {
	t.Helper()
	found, err := protoregistry.GlobalFiles.FindDescriptorByName(protoreflect.FullName(service))
	if err != nil {
		t.Fatal(err)
	}
	methods := found.(protoreflect.ServiceDescriptor).Methods()
	if methods.Len() != len(r.MayCall) {
		t.Errorf("%d methods, %d in the table", methods.Len(), len(r.MayCall))
	}
	for i := range methods.Len() {
		m := methods.Get(i)
		letters, ok := r.MayCall[string(m.Name())]
		if !ok {
			t.Errorf("%s is not in the table", m.Name())
			continue
		}
		for _, role := range identity.Roles() {
			err := r.knock(r.As(role), conn, m)
			want := strings.Contains(letters, string(role[:1]))
			switch kind := fault.KindOf(err); {
			case err == nil, kind == fault.Invalid, kind == fault.NotFound:
				if !want {
					t.Errorf("%s as %s is let in (%v)", m.Name(), role, err)
				}
			case want || kind != fault.Forbidden:
				t.Errorf("%s as %s: %v; let in by the table: %v", m.Name(), role, err, want)
			}
		}
	}
}

// knock sends one message and hears the first answer.
func (r Roles) knock(ctx context.Context, conn *grpc.ClientConn, m protoreflect.MethodDescriptor) error {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	out, err := protoregistry.GlobalTypes.FindMessageByName(m.Output().FullName())
	if err != nil {
		return err
	}
	message, answer := r.Instead[string(m.Name())], out.New().Interface()
	if message == nil {
		in, err := protoregistry.GlobalTypes.FindMessageByName(m.Input().FullName())
		if err != nil {
			return err
		}
		message = in.New().Interface()
	}
	path := "/" + string(m.Parent().FullName()) + "/" + string(m.Name())
	if !m.IsStreamingClient() && !m.IsStreamingServer() {
		return conn.Invoke(ctx, path, message, answer)
	}
	stream, err := conn.NewStream(ctx, &grpc.StreamDesc{ClientStreams: true, ServerStreams: true}, path)
	if err != nil {
		return err
	}
	// A stream that is refused early no longer takes messages; its answer says why.
	if err := stream.SendMsg(message); err != nil && !errors.Is(err, io.EOF) {
		return err
	}
	if err := stream.CloseSend(); err != nil {
		return err
	}
	if err := stream.RecvMsg(answer); !errors.Is(err, io.EOF) {
		return err
	}
	return nil
}
