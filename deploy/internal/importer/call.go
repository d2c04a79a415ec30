package importer

import (
	"cmp"
	"context"
	"fmt"
	"regexp"
	"strconv"
	"time"

	"github.com/google/uuid"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"breakshare.example/deploy/internal/coopfiles"
	"breakshare.example/services/platform/fault"
)

// callTime bounds one call: a file of ten thousand rows takes a while to commit.
const callTime = 2 * time.Minute

// source ties the elements of a request to the rows they come from.
type source struct {
	file string
	// lines of each element, as in item.
	lines [][]int
	// columns gives the column of a field where it has another name.
	columns map[string]string
	// inner is the field whose elements have lines of their own; empty for "lines".
	inner string
	// row: the request is of one element and its paths have no name for it before them.
	row bool
}

// requestID is the same for the same content: UUID version 5 (RFC 9562) of the co-op, the
// file and what is sent.
func (r *run) requestID(file string, req proto.Message) string {
	content, err := proto.MarshalOptions{Deterministic: true}.Marshal(req)
	if err != nil {
		panic(fmt.Sprintf("marshal %T: %v", req, err)) // only for text that is not UTF-8, which the reader refuses
	}
	space := uuid.MustParse(r.files.Coop.CoopID)
	return uuid.NewSHA1(space, append([]byte(file+"\x00"), content...)).String()
}

// send gives the request its id and calls until it is answered. A service may not have heard
// yet of what another was just told: then it is asked again, within the patience.
func (r *run) send(ctx context.Context, from source, req proto.Message, call func(context.Context) error) error {
	message := req.ProtoReflect()
	if field := message.Descriptor().Fields().ByName("request_id"); field != nil {
		message.Set(field, protoreflect.ValueOfString(r.requestID(from.file, req)))
	}
	ctx, cancel := context.WithTimeout(ctx, callTime)
	defer cancel()
	for pause := 50 * time.Millisecond; ; pause = min(2*pause, time.Second) {
		err := call(ctx)
		if err == nil {
			return nil
		}
		if !r.mayPass(err) {
			return from.explain(err)
		}
		select {
		case <-ctx.Done():
			return from.explain(err)
		case <-time.After(pause):
		}
	}
}

// mayPass reports whether an error can come from a service that has not caught up: it does
// not know of something yet, or is not there for a moment.
func (r *run) mayPass(err error) bool {
	switch fault.KindOf(err) {
	case fault.Unavailable, fault.Invalid, fault.NotFound, fault.Precondition:
		return !r.told.IsZero() && time.Since(r.told) < r.Patience
	default:
		return false
	}
}

// path is how a fault names a field of a batch: expected_picks[3].date, orders[12].lines[0].packs.
var path = regexp.MustCompile(`^\w+(?:\[(\d+)\])?(?:\.(\w+))?(?:\[(\d+)\])?(?:\.(\w+))?`)

// explain turns the fields of a fault into problems of the file.
func (s source) explain(err error) error {
	f := fault.From(err)
	if len(f.Fields) == 0 {
		return fmt.Errorf("%s: %w", s.file, err)
	}
	var out coopfiles.Problems
	for _, field := range f.Fields {
		line, column := s.place(field.Path)
		text := field.Description
		if line == 0 {
			text = field.Path + " " + text
		}
		out.List = append(out.List, coopfiles.Problem{File: s.file, Line: line, Column: column, Text: text})
	}
	return &out
}

// place finds the line and column of a path; line 0 where it names no element of ours.
func (s source) place(field string) (line int, column string) {
	if s.row {
		field = "row." + field
	}
	parts := path.FindStringSubmatch(field)
	if parts == nil {
		return 0, ""
	}
	index := 0
	if parts[1] != "" {
		index, _ = strconv.Atoi(parts[1])
	}
	if index >= len(s.lines) {
		return 0, ""
	}
	lines := s.lines[index]
	line, column = lines[0], parts[2]
	if inner, err := strconv.Atoi(parts[3]); err == nil && inner < len(lines) && parts[2] == cmp.Or(s.inner, "lines") {
		line, column = lines[inner], parts[4]
	}
	if other, renamed := s.columns[column]; renamed {
		column = other
	}
	return line, column
}

// refuse is the error of rows that the importer itself cannot take.
func refuse(file string, line int, column, format string, args ...any) error {
	return &coopfiles.Problems{List: []coopfiles.Problem{{File: file, Line: line, Column: column, Text: fmt.Sprintf(format, args...)}}}
}
