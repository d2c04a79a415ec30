package gateway

import (
	"fmt"
	"log/slog"
	"net/http"
	"runtime/debug"
	"strings"

	"breakshare.example/services/platform/clock"
)

// middleware wraps a handler in one concern.
type middleware = func(http.Handler) http.Handler

// chain wraps the handler so that a request passes the first middleware first.
func chain(h http.Handler, outermost ...middleware) http.Handler {
	for i := len(outermost) - 1; i >= 0; i-- {
		h = outermost[i](h)
	}
	return h
}

// recovered keeps the process alive when a handler panics.
func recovered(log *slog.Logger) middleware {
	return func(next http.Handler) http.Handler {
		return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
			defer func() {
				switch p := recover(); p {
				case nil:
				case http.ErrAbortHandler:
					panic(p)
				default:
					log.ErrorContext(r.Context(), "handler panicked", "panic", fmt.Sprint(p), "stack", string(debug.Stack()))
					http.Error(w, "Something broke on our side. It was noted; please try again.", http.StatusInternalServerError)
				}
			}()
			next.ServeHTTP(w, r)
		})
	}
}

// logged writes one line a request.
func logged(log *slog.Logger, clk clock.Clock) middleware {
	return func(next http.Handler) http.Handler {
		return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
			begun := clk.Now()
			seen := &statusWriter{ResponseWriter: w, status: http.StatusOK}
			next.ServeHTTP(seen, r)
			log.InfoContext(r.Context(), "request", "method", r.Method, "path", loggable(r.URL.Path), "status", seen.status, "took", clk.Now().Sub(begun))
		})
	}
}

// loggable is a path without the secret of a private calendar address, which alone lets
// whoever holds it read the calendar.
func loggable(path string) string {
	if strings.HasPrefix(path, "/feeds/") {
		return "/feeds/…"
	}
	return path
}

// statusWriter remembers the status that was sent.
type statusWriter struct {
	http.ResponseWriter
	status int
}

func (w *statusWriter) WriteHeader(status int) {
	w.status = status
	w.ResponseWriter.WriteHeader(status)
}

// Unwrap lets http.ResponseController reach the connection, for flushing streams.
func (w *statusWriter) Unwrap() http.ResponseWriter { return w.ResponseWriter }

// secured sends the headers that keep a browser from doing what no page of ours needs:
// scripts and styles come from here only, nothing is inline, nobody frames us.
func secured(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; font-src 'self'; connect-src 'self'; manifest-src 'self'; worker-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'")
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Referrer-Policy", "same-origin")
		next.ServeHTTP(w, r)
	})
}

// limited refuses to read more than so many bytes of a request.
func limited(bytes int64) middleware {
	return func(next http.Handler) http.Handler { return http.MaxBytesHandler(next, bytes) }
}
