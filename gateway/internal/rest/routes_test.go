package rest_test

import (
	"context"
	"encoding/json"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"regexp"
	"strings"
	"sync"
	"testing"

	"google.golang.org/genproto/googleapis/api/annotations"
	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/test/bufconn"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"
	"google.golang.org/protobuf/types/dynamicpb"

	"breakshare.example/gateway/internal/rest"
	"breakshare.example/services/platform/identity"
)

// recorder is a server that has every method, remembers the last call and answers nothing.
type recorder struct {
	mu       sync.Mutex
	method   string
	request  *dynamicpb.Message
	metadata metadata.MD
}

func (c *recorder) handle(_ any, stream grpc.ServerStream) error {
	method, _ := grpc.MethodFromServerStream(stream)
	d, err := descriptorOf(method)
	if err != nil {
		return err
	}
	request := dynamicpb.NewMessage(d.Input())
	if err := stream.RecvMsg(request); err != nil && err != io.EOF {
		return err
	}
	c.mu.Lock()
	c.method, c.request = method, request
	c.metadata, _ = metadata.FromIncomingContext(stream.Context())
	c.mu.Unlock()
	if d.IsStreamingClient() {
		for stream.RecvMsg(dynamicpb.NewMessage(d.Input())) == nil {
		}
	}
	return stream.SendMsg(dynamicpb.NewMessage(d.Output()))
}

func descriptorOf(method string) (protoreflect.MethodDescriptor, error) {
	name := strings.ReplaceAll(strings.TrimPrefix(method, "/"), "/", ".")
	d, err := protoregistry.GlobalFiles.FindDescriptorByName(protoreflect.FullName(name))
	if err != nil {
		return nil, err
	}
	return d.(protoreflect.MethodDescriptor), nil
}

// behind starts the routes over a recorder.
func behind(t *testing.T) (*recorder, http.Handler) {
	t.Helper()
	c := &recorder{}
	listener := bufconn.Listen(1 << 20)
	server := grpc.NewServer(grpc.UnknownServiceHandler(c.handle))
	go server.Serve(listener)
	t.Cleanup(server.Stop)
	conn, err := grpc.NewClient("passthrough:///recorder", grpc.WithTransportCredentials(insecure.NewCredentials()),
		grpc.WithContextDialer(func(ctx context.Context, _ string) (net.Conn, error) { return listener.DialContext(ctx) }))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { conn.Close() })
	handler, err := rest.New(t.Context(), func(string) (*grpc.ClientConn, error) { return conn, nil })
	if err != nil {
		t.Fatal(err)
	}
	return c, handler
}

// binding is one way in which a method can be called over HTTP.
type binding struct {
	method     protoreflect.MethodDescriptor
	verb, path string
	body       bool
}

// bindings are all that the suite's protos declare.
func bindings() []binding {
	var all []binding
	protoregistry.GlobalFiles.RangeFiles(func(file protoreflect.FileDescriptor) bool {
		if !strings.HasPrefix(string(file.Package()), "breakshare.") {
			return true
		}
		for i := range file.Services().Len() {
			methods := file.Services().Get(i).Methods()
			for j := range methods.Len() {
				m := methods.Get(j)
				rule, _ := proto.GetExtension(m.Options(), annotations.E_Http).(*annotations.HttpRule)
				if rule == nil {
					continue
				}
				for _, r := range append([]*annotations.HttpRule{rule}, rule.GetAdditionalBindings()...) {
					all = append(all, bindingOf(m, r))
				}
			}
		}
		return true
	})
	return all
}

func bindingOf(m protoreflect.MethodDescriptor, r *annotations.HttpRule) binding {
	b := binding{method: m, body: r.GetBody() != ""}
	switch p := r.GetPattern().(type) {
	case *annotations.HttpRule_Get:
		b.verb, b.path = http.MethodGet, p.Get
	case *annotations.HttpRule_Put:
		b.verb, b.path = http.MethodPut, p.Put
	case *annotations.HttpRule_Post:
		b.verb, b.path = http.MethodPost, p.Post
	case *annotations.HttpRule_Delete:
		b.verb, b.path = http.MethodDelete, p.Delete
	case *annotations.HttpRule_Patch:
		b.verb, b.path = http.MethodPatch, p.Patch
	}
	return b
}

var variable = regexp.MustCompile(`\{([a-z0-9_.]+)\}`)

// field is what the request holds at a path such as "farm.farm_id".
func field(m protoreflect.Message, path string) string {
	name, rest, deeper := strings.Cut(path, ".")
	d := m.Descriptor().Fields().ByName(protoreflect.Name(name))
	if d == nil {
		return "no such field"
	}
	if deeper {
		return field(m.Get(d).Message(), rest)
	}
	return m.Get(d).String()
}

// TestEveryBindingReachesItsMethod walks the contract: each HTTP binding leads to its own RPC,
// with what stands in the address in the request.
func TestEveryBindingReachesItsMethod(t *testing.T) {
	t.Parallel()
	seen, handler := behind(t)
	all := bindings()
	if len(all) < 40 {
		t.Fatalf("only %d bindings in the protos", len(all))
	}
	for _, b := range all {
		path := variable.ReplaceAllString(b.path, "a-thing-1")
		var body io.Reader
		if b.body {
			body = strings.NewReader("{}")
		}
		res := httptest.NewRecorder()
		handler.ServeHTTP(res, httptest.NewRequest(b.verb, path, body))
		if res.Code != http.StatusOK {
			t.Errorf("%s %s answered %d: %s", b.verb, path, res.Code, res.Body)
			continue
		}
		want := "/" + string(b.method.Parent().FullName()) + "/" + string(b.method.Name())
		if seen.method != want {
			t.Errorf("%s %s reached %s, want %s", b.verb, path, seen.method, want)
			continue
		}
		for _, v := range variable.FindAllStringSubmatch(b.path, -1) {
			if got := field(seen.request, v[1]); got != "a-thing-1" {
				t.Errorf("%s %s: %s is %q in the request", b.verb, b.path, v[1], got)
			}
		}
	}
}

// unbound are methods that are not for the JSON API, with the reason.
var unbound = map[protoreflect.FullName]string{
	"breakshare.scheduling.v1.SchedulingService.ReadFeed": "whoever holds a feed's secret needs no token",
}

// TestEveryMethodHasABinding leaves out what speaks to services only.
func TestEveryMethodHasABinding(t *testing.T) {
	t.Parallel()
	bound := map[protoreflect.FullName]bool{}
	for _, b := range bindings() {
		bound[b.method.FullName()] = true
	}
	protoregistry.GlobalFiles.RangeFiles(func(file protoreflect.FileDescriptor) bool {
		if !strings.HasPrefix(string(file.Package()), "breakshare.") || file.Package() == "breakshare.eventlog.v1" {
			return true
		}
		for i := range file.Services().Len() {
			methods := file.Services().Get(i).Methods()
			for j := range methods.Len() {
				// A stream of single figures is for programs; the same goes in one request over HTTP.
				if m := methods.Get(j); !bound[m.FullName()] && !m.IsStreamingClient() && unbound[m.FullName()] == "" {
					t.Errorf("%s has no HTTP binding", m.FullName())
				}
			}
		}
		return true
	})
}

// TestNoHeaderBecomesMetadata: what a caller writes into a header must not pass for what the
// gateway says of the caller.
func TestNoHeaderBecomesMetadata(t *testing.T) {
	t.Parallel()
	seen, handler := behind(t)
	req := httptest.NewRequest(http.MethodGet, "/v1/farms", nil)
	for name, value := range map[string]string{
		"Grpc-Metadata-Authorization": "Bearer forged", "Grpc-Metadata-Coop": "another", "Authorization": "Bearer forged",
		"X-Forwarded-For": "10.0.0.1", "Cookie": "breakshare_person=forged", "Grpc-Timeout": "1n", "X-Evil": "1",
	} {
		req.Header.Set(name, value)
	}
	req.Header.Del("Grpc-Timeout")
	res := httptest.NewRecorder()
	handler.ServeHTTP(res, req.WithContext(identity.With(req.Context(), identity.Identity{CoopID: "0190a1b2-0000-7000-8000-000000000001", Role: identity.Coordinator})))
	if res.Code != http.StatusOK {
		t.Fatalf("answered %d: %s", res.Code, res.Body)
	}
	for _, name := range []string{"authorization", "coop", "grpcgateway-authorization", "grpcgateway-cookie", "grpcgateway-x-evil", "x-evil", "cookie"} {
		if got := seen.metadata.Get(name); len(got) > 0 {
			t.Errorf("the service saw %s: %q", name, got)
		}
	}
}

func TestOpenAPIDescribesEveryPath(t *testing.T) {
	t.Parallel()
	res := httptest.NewRecorder()
	rest.OpenAPI(res, httptest.NewRequest(http.MethodGet, "/openapi.json", nil))
	if got := res.Header().Get("Content-Type"); got != "application/json" {
		t.Errorf("content type %q", got)
	}
	var document struct {
		Swagger string
		Paths   map[string]map[string]any
	}
	if err := json.Unmarshal(res.Body.Bytes(), &document); err != nil {
		t.Fatal(err)
	}
	if document.Swagger != "2.0" {
		t.Errorf("OpenAPI version %q", document.Swagger)
	}
	for _, b := range bindings() {
		path := variable.ReplaceAllStringFunc(b.path, func(v string) string {
			parts := strings.Split(strings.Trim(v, "{}"), ".")
			for i, part := range parts {
				parts[i] = camel(part)
			}
			return "{" + strings.Join(parts, ".") + "}"
		})
		if _, ok := document.Paths[path][strings.ToLower(b.verb)]; !ok {
			t.Errorf("the document lacks %s %s", b.verb, path)
		}
	}
}

// camel is a field's name as JSON has it.
func camel(name string) string {
	words := strings.Split(name, "_")
	for i, word := range words[1:] {
		words[i+1] = strings.ToUpper(word[:1]) + word[1:]
	}
	return strings.Join(words, "")
}
