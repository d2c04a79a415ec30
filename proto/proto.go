// Package proto carries the contract of the suite beyond its generated Go code: the OpenAPI
// document that is generated from the same sources.
package proto

import _ "embed"

// OpenAPI is the OpenAPI 2.0 document of every RPC that has an HTTP binding, as JSON.
//
//go:embed gen/breakshare.swagger.json
var OpenAPI []byte
