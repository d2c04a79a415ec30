package rpc

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"

	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"
	"google.golang.org/protobuf/types/descriptorpb"
)

// The service config as gRPC reads it (grpc/service_config.proto, gRFC A6).
type serviceConfig struct {
	MethodConfig    []methodConfig  `json:"methodConfig,omitempty"`
	RetryThrottling retryThrottling `json:"retryThrottling"`
}

type methodConfig struct {
	Name        []methodName `json:"name"`
	RetryPolicy retryPolicy  `json:"retryPolicy"`
}

type methodName struct {
	Service string `json:"service"`
	Method  string `json:"method"`
}

type retryPolicy struct {
	MaxAttempts          int      `json:"maxAttempts"`
	InitialBackoff       string   `json:"initialBackoff"`
	MaxBackoff           string   `json:"maxBackoff"`
	BackoffMultiplier    float64  `json:"backoffMultiplier"`
	RetryableStatusCodes []string `json:"retryableStatusCodes"`
}

type retryThrottling struct {
	MaxTokens  int     `json:"maxTokens"`
	TokenRatio float64 `json:"tokenRatio"`
}

// retries makes the service config that repeats UNAVAILABLE calls of methods
// that may be repeated: up to four attempts with growing pauses that gRPC
// jitters, fewer when most calls fail anyway.
func retries(methods []string) (string, error) {
	config := serviceConfig{RetryThrottling: retryThrottling{MaxTokens: 20, TokenRatio: 0.2}}
	var names []methodName
	for _, m := range methods {
		service, method, ok := strings.Cut(strings.TrimPrefix(m, "/"), "/")
		if !ok || service == "" || method == "" {
			return "", fmt.Errorf("%q is no full method name; write \"/package.Service/Method\"", m)
		}
		names = append(names, methodName{service, method})
	}
	if len(names) > 0 {
		config.MethodConfig = []methodConfig{{
			Name: names,
			RetryPolicy: retryPolicy{
				MaxAttempts: 4, InitialBackoff: "0.05s", MaxBackoff: "0.5s", BackoffMultiplier: 2,
				RetryableStatusCodes: []string{"UNAVAILABLE"},
			},
		}}
	}
	text, err := json.Marshal(config)
	if err != nil {
		return "", fmt.Errorf("write the service config: %w", err)
	}
	return string(text), nil
}

// repeatable lists the methods, of all protos linked into the program, that
// declare themselves safe to repeat: idempotency_level NO_SIDE_EFFECTS or
// IDEMPOTENT. Sorted.
func repeatable(files *protoregistry.Files) []string {
	var methods []string
	files.RangeFiles(func(file protoreflect.FileDescriptor) bool {
		for i := range file.Services().Len() {
			service := file.Services().Get(i)
			for j := range service.Methods().Len() {
				method := service.Methods().Get(j)
				if isRepeatable(method) {
					methods = append(methods, fmt.Sprintf("/%s/%s", service.FullName(), method.Name()))
				}
			}
		}
		return true
	})
	slices.Sort(methods)
	return methods
}

func isRepeatable(method protoreflect.MethodDescriptor) bool {
	options, ok := method.Options().(*descriptorpb.MethodOptions)
	return ok && options.GetIdempotencyLevel() != descriptorpb.MethodOptions_IDEMPOTENCY_UNKNOWN
}
