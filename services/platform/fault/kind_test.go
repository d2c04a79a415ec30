package fault_test

import (
	"net/http"
	"testing"

	"google.golang.org/grpc/codes"

	"breakshare.example/services/platform/fault"
)

// google/rpc/code.proto (googleapis) states the HTTP status of each code.
var httpOfCode = map[codes.Code]int{
	codes.Canceled:           499,
	codes.InvalidArgument:    http.StatusBadRequest,
	codes.DeadlineExceeded:   http.StatusGatewayTimeout,
	codes.NotFound:           http.StatusNotFound,
	codes.AlreadyExists:      http.StatusConflict,
	codes.PermissionDenied:   http.StatusForbidden,
	codes.Unauthenticated:    http.StatusUnauthorized,
	codes.ResourceExhausted:  http.StatusTooManyRequests,
	codes.FailedPrecondition: http.StatusBadRequest,
	codes.Aborted:            http.StatusConflict,
	codes.Internal:           http.StatusInternalServerError,
	codes.Unavailable:        http.StatusServiceUnavailable,
}

var wantTable = []struct {
	kind fault.Kind
	code codes.Code
	name string
}{
	{fault.Internal, codes.Internal, "internal"},
	{fault.Invalid, codes.InvalidArgument, "invalid"},
	{fault.NotFound, codes.NotFound, "not found"},
	{fault.Exists, codes.AlreadyExists, "exists"},
	{fault.Stale, codes.Aborted, "stale"},
	{fault.Precondition, codes.FailedPrecondition, "precondition"},
	{fault.Forbidden, codes.PermissionDenied, "forbidden"},
	{fault.Unauthenticated, codes.Unauthenticated, "unauthenticated"},
	{fault.Exhausted, codes.ResourceExhausted, "exhausted"},
	{fault.Unavailable, codes.Unavailable, "unavailable"},
	{fault.Deadline, codes.DeadlineExceeded, "deadline"},
	{fault.Cancelled, codes.Canceled, "cancelled"},
}

func TestTableBothWays(t *testing.T) {
	t.Parallel()
	if got, want := len(fault.Kinds()), len(wantTable); got != want {
		t.Fatalf("%d kinds, this test knows %d", got, want)
	}
	for i, row := range wantTable {
		if fault.Kinds()[i] != row.kind {
			t.Errorf("Kinds()[%d] = %v, want %v", i, fault.Kinds()[i], row.kind)
		}
		if got := row.kind.Code(); got != row.code {
			t.Errorf("%v.Code() = %v, want %v", row.kind, got, row.code)
		}
		if got := fault.FromCode(row.code); got != row.kind {
			t.Errorf("FromCode(%v) = %v, want %v", row.code, got, row.kind)
		}
		if got, want := row.kind.HTTP(), httpOfCode[row.code]; got != want {
			t.Errorf("%v.HTTP() = %d, want %d", row.kind, got, want)
		}
		if got := row.kind.String(); got != row.name {
			t.Errorf("String() = %q, want %q", got, row.name)
		}
	}
}

func TestCodesWithoutAKindOfTheirOwn(t *testing.T) {
	t.Parallel()
	for code, want := range map[codes.Code]fault.Kind{
		codes.OutOfRange:    fault.Invalid,
		codes.Unknown:       fault.Internal,
		codes.Unimplemented: fault.Internal,
		codes.DataLoss:      fault.Internal,
		codes.Code(99):      fault.Internal,
	} {
		if got := fault.FromCode(code); got != want {
			t.Errorf("FromCode(%v) = %v, want %v", code, got, want)
		}
	}
	if k := fault.Kind(200); k.Code() != codes.Internal || k.HTTP() != 500 || k.String() != "internal" {
		t.Errorf("a kind outside the table is %v %v %d, want internal", k, k.Code(), k.HTTP())
	}
}
