package web_test

import (
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"slices"
	"testing"
	"time"

	"breakshare.example/gateway/internal/fakecoop"
	"breakshare.example/gateway/internal/signin"
	"breakshare.example/gateway/internal/web"
	"breakshare.example/services/platform/identity"
)

// BenchmarkPages tells each page's calls to services, its size and the slowest hundredth of
// its times. The services answer from memory: what is measured is the pages' own part.
func BenchmarkPages(b *testing.B) {
	coop := fakecoop.Start(b)
	office := fakecoop.Who(identity.Coordinator, "")
	door := signin.New(coop.Tokens, func() (identity.Identity, bool) { return office, true })
	pages, err := web.New(web.Options{Log: slog.New(slog.NewTextHandler(io.Discard, nil)), Clock: coop.Clock, Dial: coop.Dial, Door: door})
	if err != nil {
		b.Fatal(err)
	}
	for path, who := range places() {
		if who.Role == "" {
			who = office
		}
		b.Run(path, func(b *testing.B) {
			before, size := coop.AllCalls(), 0
			var took []time.Duration
			for b.Loop() {
				req := httptest.NewRequest(http.MethodGet, path, nil)
				req.Host = "127.0.0.1"
				res := httptest.NewRecorder()
				begun := time.Now()
				pages.ServeHTTP(res, req.WithContext(identity.With(req.Context(), who)))
				took = append(took, time.Since(begun))
				if res.Code != http.StatusOK {
					b.Fatalf("answered %d", res.Code)
				}
				size = res.Body.Len()
			}
			slices.Sort(took)
			b.ReportMetric(float64(coop.AllCalls()-before)/float64(len(took)), "calls/page")
			b.ReportMetric(float64(size), "B/page")
			b.ReportMetric(float64(took[len(took)*99/100].Microseconds())/1000, "p99-ms")
		})
	}
}
