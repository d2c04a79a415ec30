// Package rpc owns how services speak gRPC: one server constructor with one
// order of interceptors, and one way to dial.
//
// A call passes, from the outside in:
//
//  1. recover: a panic becomes an Internal error and the process lives on
//  2. observe: one log line, one count and one duration per call
//  3. auth: bearer token to identity, role against the Policy
//  4. deadline: shave it, refuse what is too late, give one where there is none
//  5. faults: whatever the handler returned becomes a *fault.Error
//  6. validate: protovalidate rules of the request message
//
// Unary calls and streams pass the same steps. Tracing is no interceptor but a
// stats handler around them all, so that one call makes one span on each side.
//
// Without TLS a server listens on, and a client dials, loopback only: bearer
// tokens and trade must not cross a network in the clear. Set
// ServerOptions.TLS and DialOptions.TLS (TLSFiles loads both from PEM files)
// to speak between machines.
package rpc
