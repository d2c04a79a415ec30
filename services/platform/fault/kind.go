package fault

import (
	"net/http"

	"google.golang.org/grpc/codes"
)

// Kind sorts errors by what the caller can do about them.
type Kind uint8

// The kinds. The zero value is Internal: an error nobody sorted is ours.
const (
	Internal        Kind = iota // our mistake; the caller can do nothing
	Invalid                     // the request is malformed or makes no sense: mend it
	NotFound                    // no such thing in the caller's co-op
	Exists                      // already there, or the request id was used for another request
	Stale                       // changed meanwhile: read it again, then decide
	Precondition                // the state of things forbids it now: change that first
	Forbidden                   // the caller's role may not
	Unauthenticated             // no token, or one that is not good
	Exhausted                   // a limit or quota is reached
	Unavailable                 // a part is down: try again
	Deadline                    // the time ran out; it may or may not have been done
	Cancelled                   // the caller went away
)

// statusClientClosed is 499, the customary answer to a client that went away;
// net/http has no name for it.
const statusClientClosed = 499

// table is the one place that ties a kind to its gRPC code, its HTTP status,
// its name and the sentence shown where no better one may be. Code and HTTP
// status pair up as google/rpc/code.proto states for each code.
var table = [...]struct {
	code codes.Code
	http int
	name string
	text string
}{
	Internal:        {codes.Internal, http.StatusInternalServerError, "internal", "something went wrong on our side; it has been logged"},
	Invalid:         {codes.InvalidArgument, http.StatusBadRequest, "invalid", "the request is not valid"},
	NotFound:        {codes.NotFound, http.StatusNotFound, "not found", "there is no such thing"},
	Exists:          {codes.AlreadyExists, http.StatusConflict, "exists", "it exists already"},
	Stale:           {codes.Aborted, http.StatusConflict, "stale", "it was changed meanwhile; read it again"},
	Precondition:    {codes.FailedPrecondition, http.StatusBadRequest, "precondition", "that cannot be done in the present state"},
	Forbidden:       {codes.PermissionDenied, http.StatusForbidden, "forbidden", "this role may not do that"},
	Unauthenticated: {codes.Unauthenticated, http.StatusUnauthorized, "unauthenticated", "sign in first"},
	Exhausted:       {codes.ResourceExhausted, http.StatusTooManyRequests, "exhausted", "a limit is reached"},
	Unavailable:     {codes.Unavailable, http.StatusServiceUnavailable, "unavailable", "a part of the suite cannot be reached; try again"},
	Deadline:        {codes.DeadlineExceeded, http.StatusGatewayTimeout, "deadline", "it took too long; look whether it was done, or repeat it with the same request id"},
	Cancelled:       {codes.Canceled, statusClientClosed, "cancelled", "the request was cancelled"},
}

// Kinds lists every kind once, for tests that walk them all.
func Kinds() []Kind {
	kinds := make([]Kind, len(table))
	for i := range table {
		kinds[i] = Kind(i)
	}
	return kinds
}

// known maps a kind outside the table to Internal.
func (k Kind) known() Kind {
	if int(k) >= len(table) {
		return Internal
	}
	return k
}

// Code returns the gRPC code of the kind.
func (k Kind) Code() codes.Code { return table[k.known()].code }

// HTTP returns the HTTP status of the kind.
func (k Kind) HTTP() int { return table[k.known()].http }

// String returns the kind's name in lower case: "not found".
func (k Kind) String() string { return table[k.known()].name }

// hides reports whether an error of this kind that nobody worded for the
// caller must keep its text to itself: these arise in transports and libraries, whose
// texts name addresses, tables and files.
func (k Kind) hides() bool {
	return k == Internal || k == Unavailable || k == Deadline || k == Cancelled
}

// FromCode returns the kind of a gRPC code. Codes without a kind of their own
// fall to the nearest: OutOfRange is Invalid; Unknown, Unimplemented, DataLoss
// and any code not yet invented are Internal.
func FromCode(code codes.Code) Kind {
	if code == codes.OutOfRange {
		return Invalid
	}
	for k, row := range table {
		if row.code == code {
			return Kind(k)
		}
	}
	return Internal
}
