package rest

import (
	"context"
	"encoding/json"
	"net/http"

	"github.com/grpc-ecosystem/grpc-gateway/v2/runtime"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"breakshare.example/services/platform/fault"
)

// Problem is an error as RFC 9457 has it. Type is about:blank, so Title is that of the HTTP
// status; Reason and Errors are extension members.
type Problem struct {
	Type     string            `json:"type"`
	Title    string            `json:"title"`
	Status   int               `json:"status"`
	Detail   string            `json:"detail"`
	Instance string            `json:"instance,omitempty"`
	Reason   string            `json:"reason,omitempty"`
	Errors   []FieldProblem    `json:"errors,omitempty"`
	Meta     map[string]string `json:"meta,omitempty"`
}

// FieldProblem names a field of the request and what is wrong with it.
type FieldProblem struct {
	Field  string `json:"field"`
	Detail string `json:"detail"`
}

// WriteProblem answers a request with a problem.
func WriteProblem(w http.ResponseWriter, r *http.Request, f *fault.Error) {
	p := Problem{
		Type: "about:blank", Title: http.StatusText(f.Kind.HTTP()), Status: f.Kind.HTTP(),
		Detail: f.Message, Instance: r.URL.Path, Reason: f.Reason, Meta: f.Meta,
	}
	for _, field := range f.Fields {
		p.Errors = append(p.Errors, FieldProblem{Field: field.Path, Detail: field.Description})
	}
	writeProblem(w, p)
}

func writeProblem(w http.ResponseWriter, p Problem) {
	w.Header().Set("Content-Type", "application/problem+json")
	w.Header().Set("Cache-Control", "no-store")
	w.WriteHeader(p.Status)
	// The client may be gone; there is nobody left to tell.
	_ = json.NewEncoder(w).Encode(p)
}

func writeError(_ context.Context, _ *runtime.ServeMux, _ runtime.Marshaler, w http.ResponseWriter, r *http.Request, err error) {
	WriteProblem(w, r, fault.FromStatus(err))
}

// writeRoutingError answers requests that no route takes.
func writeRoutingError(_ context.Context, _ *runtime.ServeMux, _ runtime.Marshaler, w http.ResponseWriter, r *http.Request, httpStatus int) {
	detail := "There is nothing at this address; /openapi.json lists what there is."
	if httpStatus == http.StatusMethodNotAllowed {
		detail = "This address does not take " + r.Method + "; /openapi.json lists what it takes."
	}
	writeProblem(w, Problem{Type: "about:blank", Title: http.StatusText(httpStatus), Status: httpStatus, Detail: detail, Instance: r.URL.Path})
}

// streamError puts the message that a caller may see into the last line of a stream.
func streamError(_ context.Context, err error) *status.Status {
	f := fault.FromStatus(err)
	if f.Kind == fault.Internal {
		return status.New(codes.Internal, f.Message)
	}
	return f.GRPCStatus()
}
