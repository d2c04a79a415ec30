package rest_test

import (
	"fmt"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"testing"
)

const oneReading = `{"request_id": "0190a1b2-0000-7000-8000-00000000000b", "readings": [{"lot_id": "a", "probe_id": "p1", "kind": "READING_KIND_AMMONIA", "time": "2026-11-25T10:00:00Z", "value_thousandths": "4000"}]}` + "\n"

// An upload whose connection breaks leaves nothing, wherever it breaks: within a line, between
// two, before the end that HTTP asks for. Sent again it is taken whole.
func TestUploadCutShortLeavesNothing(t *testing.T) {
	t.Parallel()
	coop, handler := api(t)
	ended := make(chan int, 1)
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		seen := httptest.NewRecorder()
		handler.ServeHTTP(seen, r)
		ended <- seen.Code
	}))
	t.Cleanup(server.Close)
	const whole = oneReading + oneReading
	sized := fmt.Sprintf("Content-Length: %d\r\n\r\n", len(whole))
	chunk := func(text string) string { return fmt.Sprintf("%x\r\n%s\r\n", len(text), text) }
	const chunked = "Transfer-Encoding: chunked\r\n\r\n"
	for name, body := range map[string]string{
		"within a line, of a stated length":   sized + oneReading + oneReading[:40],
		"between lines, of a stated length":   sized + oneReading,
		"within a line, in chunks":            chunked + chunk(oneReading) + chunk(oneReading[:40]),
		"between lines, in chunks":            chunked + chunk(oneReading),
		"before the last chunk, all is there": chunked + chunk(whole),
	} {
		conn, err := net.Dial("tcp", server.Listener.Addr().String())
		if err != nil {
			t.Fatal(err)
		}
		if _, err := io.WriteString(conn, "POST /v1/readings HTTP/1.1\r\nHost: x\r\n"+body); err != nil {
			t.Fatal(err)
		}
		conn.Close()
		if code := <-ended; code == http.StatusOK {
			t.Errorf("%s: answered as if it were whole", name)
		}
	}
	if n := len(coop.Stored); n != 0 {
		t.Errorf("%d readings of broken uploads are stored", n)
	}
	if res := ask(handler, http.MethodPost, "/v1/readings", whole); res.Code != http.StatusOK || len(coop.Stored) != 2 {
		t.Errorf("sent again: %d %s, %d stored", res.Code, res.Body, len(coop.Stored))
	}
}
