// Package rest owns REST and JSON over the RPCs: the routes that the protos declare, errors
// as problem details (RFC 9457), and the OpenAPI document.
package rest

import (
	"context"
	"net/http"
	"time"

	"github.com/grpc-ecosystem/grpc-gateway/v2/runtime"
	"google.golang.org/grpc"
	"google.golang.org/protobuf/encoding/protojson"

	"breakshare.example/proto"
	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
)

// patience is how long one request may take, uploads and streams included.
const patience = 2 * time.Minute

// services says which generated routes belong to which service.
var services = []struct {
	name     string
	register func(context.Context, *runtime.ServeMux, *grpc.ClientConn) error
}{
	{"scheduling", schedulingv1.RegisterSchedulingServiceHandler},
	{"compostlot", compostlotv1.RegisterCompostLotServiceHandler},
	{"harvest", harvestv1.RegisterHarvestServiceHandler},
	{"order", orderv1.RegisterOrderServiceHandler},
}

// New returns the handler of every RPC with an HTTP binding. Requests must carry an identity
// in their context.
func New(ctx context.Context, dial func(service string) (*grpc.ClientConn, error)) (http.Handler, error) {
	mux := runtime.NewServeMux(
		runtime.WithMarshalerOption(runtime.MIMEWildcard, &runtime.JSONPb{
			// Zeroes are written, absent fields are not: absent stays absent.
			MarshalOptions:   protojson.MarshalOptions{EmitDefaultValues: true},
			UnmarshalOptions: protojson.UnmarshalOptions{},
		}),
		runtime.WithErrorHandler(writeError),
		runtime.WithRoutingErrorHandler(writeRoutingError),
		runtime.WithStreamErrorHandler(streamError),
		// The identity travels in the context; no header of a caller becomes metadata, and no
		// metadata of a service a header.
		runtime.WithIncomingHeaderMatcher(func(string) (string, bool) { return "", false }),
		runtime.WithOutgoingHeaderMatcher(func(string) (string, bool) { return "", false }),
	)
	for _, s := range services {
		connection, err := dial(s.name)
		if err != nil {
			return nil, err
		}
		if err := s.register(ctx, mux, connection); err != nil {
			return nil, err
		}
	}
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		ctx, cancel := context.WithTimeout(r.Context(), patience)
		defer cancel()
		r = r.Clone(ctx)
		// The routes would pass it on beside the identity in the context, whatever the matcher says.
		r.Header.Del("Authorization")
		mux.ServeHTTP(w, r)
	}), nil
}

// OpenAPI answers with the OpenAPI document of the routes.
func OpenAPI(w http.ResponseWriter, _ *http.Request) {
	w.Header().Set("Content-Type", "application/json")
	w.Write(proto.OpenAPI)
}
