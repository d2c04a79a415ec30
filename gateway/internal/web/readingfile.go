package web

import (
	"errors"
	"io"
	"regexp"
	"strings"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	"breakshare.example/gateway/internal/words"
	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	"breakshare.example/services/platform/fault"
)

// Columns of a logger's file, as the co-op's own files have them.
var (
	readingColumns   = []string{"probe_id", "kind", "time", "value"}
	readingColumnsOf = []string{"lot_id"} // may be left out
)

// probeID is what a probe may be called, as in the contract.
var probeID = regexp.MustCompile(`^[a-z0-9]([a-z0-9-]{0,30}[a-z0-9])?$`)

// readingsPerMessage is how many readings one message of the stream carries.
const readingsPerMessage = 5000

// uploadReadings stores a logger's file, all of it or nothing; sent again it adds nothing twice.
func (p *Pages) uploadReadings(v *visit) (view, error) {
	rows, err := v.uploaded("file", readingColumns, readingColumnsOf)
	if err != nil {
		return view{}, err
	}
	readings := make([]*compostlotv1.Reading, len(rows))
	for i, row := range rows {
		if readings[i], err = readingOf(row, v.r.PathValue("lot")); err != nil {
			return view{}, v.wrongFile("file", err)
		}
	}
	if err := p.sendReadings(v, readings); err != nil {
		return view{}, v.placed(err, "file", "readings", rows)
	}
	return view{goTo: workAddress(v, "readings")}, nil
}

func (p *Pages) sendReadings(v *visit, readings []*compostlotv1.Reading) error {
	stream, err := p.compostlot.RecordReadings(v.ctx)
	if err != nil {
		return err
	}
	for len(readings) > 0 {
		n := min(readingsPerMessage, len(readings))
		message := &compostlotv1.RecordReadingsRequest{RequestId: v.r.PostFormValue("request_id"), Readings: readings[:n]}
		// A service that refuses ends the stream early; closing it tells why.
		if err := stream.Send(message); errors.Is(err, io.EOF) {
			break
		} else if err != nil {
			return err
		}
		readings = readings[n:]
	}
	if _, err := stream.CloseAndRecv(); err != nil {
		return fault.From(err)
	}
	return nil
}

// readingOf is the reading of a row. Its errors are *rowError.
func readingOf(row csvRow, lotID string) (*compostlotv1.Reading, error) {
	if of := row.values["lot_id"]; of != "" && of != lotID {
		return nil, row.wrong("lot_id")
	}
	if !probeID.MatchString(row.values["probe_id"]) {
		return nil, row.wrong("probe_id")
	}
	kind := compostlotv1.ReadingKind(compostlotv1.ReadingKind_value["READING_KIND_"+strings.ToUpper(row.values["kind"])])
	if kind == compostlotv1.ReadingKind_READING_KIND_UNSPECIFIED {
		return nil, row.wrong("kind")
	}
	at, err := time.Parse(time.RFC3339, row.values["time"])
	if err != nil {
		return nil, row.wrong("time")
	}
	value, ok := signedThousandths(row.values["value"])
	if !ok {
		return nil, row.wrong("value")
	}
	return &compostlotv1.Reading{LotId: lotID, ProbeId: row.values["probe_id"], Kind: kind, Time: timestamppb.New(at), ValueThousandths: value}, nil
}

// signedThousandths reads a figure that may lie below zero, with at most three decimals.
func signedThousandths(typed string) (int64, bool) {
	text := strings.TrimSpace(typed)
	positive, negative := strings.CutPrefix(strings.Replace(text, "−", "-", 1), "-")
	n, ok := words.Thousandths(positive)
	if negative {
		n = -n
	}
	return n, ok
}
