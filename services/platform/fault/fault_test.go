package fault_test

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"pgregory.net/rapid"

	"breakshare.example/services/platform/fault"
)

func TestDetailsOnTheWire(t *testing.T) {
	t.Parallel()
	st := fault.InvalidField("picks[1].grams", "must be above 0, is %d", -3).
		WithField("picks[2].room_id", "missing").WithMeta("picks", "3").GRPCStatus()
	if st.Code() != codes.InvalidArgument || st.Message() != "picks[1].grams: must be above 0, is -3" {
		t.Errorf("status %v %q", st.Code(), st.Message())
	}
	var info *errdetails.ErrorInfo
	var bad *errdetails.BadRequest
	for _, d := range st.Details() {
		switch d := d.(type) {
		case *errdetails.ErrorInfo:
			info = d
		case *errdetails.BadRequest:
			bad = d
		}
	}
	if info.GetDomain() != "breakshare" || info.GetReason() != "INVALID_FIELD" || info.GetMetadata()["picks"] != "3" {
		t.Errorf("ErrorInfo %v", info)
	}
	if v := bad.GetFieldViolations(); len(v) != 2 || v[0].GetField() != "picks[1].grams" || v[1].GetDescription() != "missing" {
		t.Errorf("BadRequest %v", bad)
	}
}

func TestPreconditionDetail(t *testing.T) {
	t.Parallel()
	st := fault.New(fault.Precondition, "LOT_HELD", "the lot is held").WithField("lot 31", "is held").GRPCStatus()
	var pf *errdetails.PreconditionFailure
	for _, d := range st.Details() {
		if d, ok := d.(*errdetails.PreconditionFailure); ok {
			pf = d
		}
	}
	v := pf.GetViolations()
	if len(v) != 1 || v[0].GetType() != "LOT_HELD" || v[0].GetSubject() != "lot 31" || v[0].GetDescription() != "is held" {
		t.Errorf("PreconditionFailure %v", pf)
	}
}

func TestInternalHidesEverything(t *testing.T) {
	t.Parallel()
	secret := "password of 10.0.0.7"
	for name, err := range map[string]error{
		"unsorted":  errors.New(secret),
		"worded":    fault.New(fault.Internal, "SECRET", "%s", secret).WithField("f", "%s", secret).WithMeta("m", secret),
		"no kind":   &fault.Error{Message: secret},
		"status":    status.Error(codes.Unknown, secret),
		"transport": status.Error(codes.Unavailable, secret),
	} {
		st := fault.From(err).GRPCStatus()
		if text := fmt.Sprint(st.Proto()); strings.Contains(text, secret) || strings.Contains(text, "SECRET") {
			t.Errorf("%s: the caller sees %s", name, text)
		}
		if st.Message() == "" {
			t.Errorf("%s: the caller sees nothing", name)
		}
	}
}

func TestCauseStaysHere(t *testing.T) {
	t.Parallel()
	e := fault.New(fault.NotFound, "NO_FARM", "no farm 7").WithCause(io.ErrUnexpectedEOF)
	if !errors.Is(e, io.ErrUnexpectedEOF) || !strings.Contains(e.Error(), "unexpected EOF") {
		t.Errorf("%v: the cause is lost to logs", e)
	}
	if m := e.GRPCStatus().Message(); m != "no farm 7" {
		t.Errorf("the caller sees %q", m)
	}
}

func TestFromSortsAnyError(t *testing.T) {
	t.Parallel()
	e := fault.New(fault.Stale, "STALE", "changed meanwhile")
	for _, tc := range []struct {
		name string
		err  error
		want fault.Kind
	}{
		{"nil", nil, fault.Internal},
		{"unsorted", io.EOF, fault.Internal},
		{"fault", e, fault.Stale},
		{"wrapped fault", fmt.Errorf("save: %w", e), fault.Stale},
		{"joined fault", errors.Join(io.EOF, e), fault.Stale},
		{"deadline", fmt.Errorf("query: %w", context.DeadlineExceeded), fault.Deadline},
		{"cancelled", fmt.Errorf("query: %w", context.Canceled), fault.Cancelled},
		{"status", status.Error(codes.PermissionDenied, "no"), fault.Forbidden},
		{"wrapped status", fmt.Errorf("ask: %w", status.Error(codes.NotFound, "no")), fault.NotFound},
		// The fault decides, not what lies under it.
		{"fault over deadline", e.WithCause(context.DeadlineExceeded), fault.Stale},
	} {
		if got := fault.KindOf(tc.err); got != tc.want {
			t.Errorf("%s: KindOf = %v, want %v", tc.name, got, tc.want)
		}
	}
	if fault.From(nil) != nil || fault.FromStatus(nil) != nil {
		t.Error("nil became an error")
	}
	if got := fault.From(fmt.Errorf("save: %w", e)); got != e {
		t.Errorf("From lost the fault: %v", got)
	}
}

func TestFromForeignStatus(t *testing.T) {
	t.Parallel()
	got := fault.FromStatus(status.Error(codes.NotFound, "no such route"))
	if got.Kind != fault.NotFound || got.Message != "no such route" || got.Reason != "NOT_FOUND" {
		t.Errorf("%+v", got)
	}
	err := status.Error(codes.Unavailable, "dial tcp 10.0.0.7: refused")
	got = fault.FromStatus(err)
	if got.Kind != fault.Unavailable || strings.Contains(got.Message, "10.0.0.7") || !errors.Is(got, err) {
		t.Errorf("%+v: want the address in the cause only", got)
	}
}

func TestCopiesLeaveTheOriginalAlone(t *testing.T) {
	t.Parallel()
	base := fault.InvalidField("a", "wrong").WithMeta("k", "v")
	_ = base.WithField("b", "wrong too")
	_ = base.WithMeta("k", "other").WithCause(io.EOF)
	want := &fault.Error{
		Kind: fault.Invalid, Reason: fault.ReasonInvalidField, Message: "a: wrong",
		Fields: []fault.Field{{Path: "a", Description: "wrong"}}, Meta: map[string]string{"k": "v"},
	}
	if diff := cmp.Diff(want, base); diff != "" {
		t.Errorf("the original changed (-want +got):\n%s", diff)
	}
}

func TestManyFieldsAreCut(t *testing.T) {
	t.Parallel()
	e := fault.New(fault.Invalid, "MANY", "many")
	for i := range 2 * fault.MaxFields {
		e = e.WithField(fmt.Sprintf("f[%d]", i), "wrong")
	}
	got := fault.FromStatus(e.GRPCStatus().Err())
	if len(got.Fields) != fault.MaxFields || got.Fields[0].Path != "f[0]" {
		t.Errorf("%d fields, first %v; want the first %d", len(got.Fields), got.Fields[0], fault.MaxFields)
	}
}

// Every fault but an Internal one comes back from its status as it was, save
// for the cause.
func TestRoundTrip(t *testing.T) {
	t.Parallel()
	text := rapid.StringN(1, 20, -1)
	rapid.Check(t, func(t *rapid.T) {
		want := &fault.Error{
			Kind:    rapid.SampledFrom(fault.Kinds()[1:]).Draw(t, "kind"),
			Reason:  rapid.StringMatching(`[A-Z][A-Z0-9_]{1,20}[A-Z0-9]`).Draw(t, "reason"),
			Message: text.Draw(t, "message"),
		}
		for range rapid.IntRange(0, 3).Draw(t, "fields") {
			want.Fields = append(want.Fields, fault.Field{Path: text.Draw(t, "path"), Description: text.Draw(t, "description")})
		}
		for range rapid.IntRange(0, 3).Draw(t, "meta") {
			want = want.WithMeta(text.Draw(t, "key"), text.Draw(t, "value"))
		}
		got := fault.FromStatus(want.WithCause(io.EOF).GRPCStatus().Err())
		if diff := cmp.Diff(want, got); diff != "" {
			t.Fatalf("(-want +got):\n%s", diff)
		}
	})
}

func FuzzBytesFromCallers(f *testing.F) {
	f.Add("grams", "must be above 0")
	f.Add("\xff", "quoted \xc3\x28")
	f.Fuzz(func(t *testing.T, path, text string) {
		e := fault.InvalidField(path, "%s", text).WithMeta(path, text)
		got := fault.FromStatus(e.GRPCStatus().Err())
		if got.Kind != fault.Invalid || got.Reason != fault.ReasonInvalidField || len(got.Fields) != 1 {
			t.Fatalf("%q %q came back as %+v: details were lost", path, text, got)
		}
	})
}
