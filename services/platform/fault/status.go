package fault

import (
	"errors"
	"strings"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/protoadapt"
)

// Domain is the google.rpc.ErrorInfo domain of every reason in the suite.
const Domain = "breakshare"

// MaxFields is how many violations a status carries: details travel in HTTP/2
// trailers, which are no place for a thousand of them. The first are kept.
const MaxFields = 50

// GRPCStatus returns the status that the caller sees: the kind's code, the
// message, an ErrorInfo with reason and meta, and the fields as a
// PreconditionFailure (kind Precondition) or a BadRequest (any other kind). An
// Internal error shows nothing but the kind's own sentence.
func (e *Error) GRPCStatus() *status.Status {
	kind := e.Kind.known()
	if kind == Internal {
		e = &Error{}
	}
	message := clean(e.Message)
	if message == "" {
		message = table[kind].text
	}
	info := &errdetails.ErrorInfo{Reason: clean(e.Reason), Domain: Domain}
	if info.Reason == "" {
		info.Reason = kind.reason()
	}
	for k, v := range e.Meta {
		if info.Metadata == nil {
			info.Metadata = map[string]string{}
		}
		info.Metadata[clean(k)] = clean(v)
	}
	details := []protoadapt.MessageV1{info}
	if len(e.Fields) > 0 {
		details = append(details, violations(kind, info.Reason, e.Fields))
	}
	st := status.New(kind.Code(), message)
	if full, err := st.WithDetails(details...); err == nil {
		return full
	}
	return st
}

// violations puts the fields into the detail message of their kind.
func violations(kind Kind, reason string, fields []Field) protoadapt.MessageV1 {
	if len(fields) > MaxFields {
		fields = fields[:MaxFields]
	}
	if kind == Precondition {
		pf := &errdetails.PreconditionFailure{}
		for _, f := range fields {
			pf.Violations = append(pf.Violations, &errdetails.PreconditionFailure_Violation{
				Type: reason, Subject: clean(f.Path), Description: clean(f.Description),
			})
		}
		return pf
	}
	br := &errdetails.BadRequest{}
	for _, f := range fields {
		br.FieldViolations = append(br.FieldViolations, &errdetails.BadRequest_FieldViolation{
			Field: clean(f.Path), Description: clean(f.Description),
		})
	}
	return br
}

// clean makes s fit for a protobuf string, which must be UTF-8: messages quote
// what callers sent.
func clean(s string) string { return strings.ToValidUTF8(s, "\uFFFD") }

// FromStatus turns what a client got from a call back into a fault: kind,
// message, reason, fields and meta as the server gave them. A status without
// our ErrorInfo was made by a transport or by another system: its kind follows
// from the code, and where the kind hides texts (Internal, Unavailable,
// Deadline, Cancelled) the message is the kind's own sentence with err as the
// cause. Any other error is sorted as From sorts it; FromStatus(nil) is nil.
func FromStatus(err error) *Error { return From(err) }

// statusOf finds a gRPC status in err's chain; nil when there is none or the
// status says OK.
func statusOf(err error) *status.Status {
	var g interface{ GRPCStatus() *status.Status }
	if !errors.As(err, &g) {
		return nil
	}
	if st := g.GRPCStatus(); st != nil && st.Code() != codes.OK {
		return st
	}
	return nil
}

func fromStatus(st *status.Status, err error) *Error {
	e := &Error{Kind: FromCode(st.Code()), Message: st.Message()}
	ours := false
	for _, detail := range st.Details() {
		switch d := detail.(type) {
		case *errdetails.ErrorInfo:
			if d.GetDomain() == Domain {
				ours = true
				e.Reason, e.Meta = d.GetReason(), d.GetMetadata()
			}
		case *errdetails.BadRequest:
			for _, v := range d.GetFieldViolations() {
				e.Fields = append(e.Fields, Field{v.GetField(), v.GetDescription()})
			}
		case *errdetails.PreconditionFailure:
			for _, v := range d.GetViolations() {
				e.Fields = append(e.Fields, Field{v.GetSubject(), v.GetDescription()})
			}
		}
	}
	if ours {
		return e
	}
	if e.Kind.hides() {
		return plain(e.Kind, err)
	}
	e.Reason, e.Cause = e.Kind.reason(), err
	return e
}
