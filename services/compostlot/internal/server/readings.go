package server

import (
	"context"
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"hash"
	"io"

	"github.com/jackc/pgx/v5"
	"google.golang.org/grpc"
	"google.golang.org/protobuf/types/known/wrapperspb"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	"breakshare.example/services/compostlot/internal/store"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/requestlog"
)

// RecordReadings implements CompostLotService. The stream is gathered in columns and stored
// when the caller closes it, in one transaction: a stream that breaks leaves nothing.
func (s *Server) RecordReadings(stream grpc.ClientStreamingServer[compostlotv1.RecordReadingsRequest, compostlotv1.RecordReadingsResponse]) error {
	g := gathering{days: map[dayKey]*column{}, digest: sha256.New(), most: s.o.MaxReadings}
	for {
		m, err := stream.Recv()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return err
		}
		if err := g.take(m); err != nil {
			return err
		}
	}
	if g.count == 0 {
		return fault.InvalidField("readings", "the stream has none: send at least one")
	}
	answer, err := s.storeReadings(stream.Context(), &g)
	if err != nil {
		return err
	}
	return stream.SendAndClose(answer)
}

func (s *Server) storeReadings(ctx context.Context, g *gathering) (*compostlotv1.RecordReadingsResponse, error) {
	// The request log wants one message for the request: the digest of all readings stands
	// for the stream, however it was cut into messages.
	body := wrapperspb.Bytes(g.digest.Sum(nil))
	answer, err := requestlog.Once(ctx, s.o.Pool, g.requestID, body, &compostlotv1.RecordReadingsResponse{},
		func(ctx context.Context, tx pgx.Tx) (*compostlotv1.RecordReadingsResponse, error) {
			return g.store(ctx, tx)
		})
	return answer, wording(err)
}

// dayKey names the readings of one probe on one day.
type dayKey struct {
	store.Probe
	day int64 // since 1970-01-01
}

// column is the readings of a day as they came.
type column struct {
	second, value []int32
	index         []int32 // place in the whole stream, for errors
}

// gathering is a stream of readings as far as it has come.
type gathering struct {
	requestID string
	count     int
	most      int
	days      map[dayKey]*column
	digest    hash.Hash
	line      []byte
}

// take adds the readings of one message.
func (g *gathering) take(m *compostlotv1.RecordReadingsRequest) error {
	switch {
	case g.requestID == "":
		g.requestID = m.GetRequestId()
	case g.requestID != m.GetRequestId():
		return fault.InvalidField("request_id", "differs from %s of the first message: one stream is one request", g.requestID)
	}
	if g.count+len(m.GetReadings()) > g.most {
		return fault.New(fault.Exhausted, ReasonStreamTooLong, "a stream takes at most %d readings: send the rest in another with its own request_id", g.most)
	}
	at := list("readings")
	for _, r := range m.GetReadings() {
		when, err := instant(at(g.count)+"time", r.GetTime())
		if err != nil {
			return err
		}
		if r.GetTime().GetNanos() != 0 {
			return fault.InvalidField(at(g.count)+"time", "has a fraction of a second: readings are kept to the whole second, so round the time and send one reading per second")
		}
		g.add(r, when.Unix())
	}
	return nil
}

const secondsPerDay = 24 * 60 * 60

func (g *gathering) add(r *compostlotv1.Reading, unix int64) {
	k := dayKey{Probe: store.Probe{LotID: r.GetLotId(), ProbeID: r.GetProbeId(), Kind: int16(r.GetKind())}, day: unix / secondsPerDay}
	c := g.days[k]
	if c == nil {
		c = &column{}
		g.days[k] = c
	}
	c.second = append(c.second, int32(unix%secondsPerDay))
	c.value = append(c.value, int32(r.GetValueThousandths())) // within ±1,000,000,000 by the contract
	c.index = append(c.index, int32(g.count))
	g.count++
	// Ids hold no spaces, so the line says one reading only.
	g.line = append(g.line[:0], r.GetLotId()...)
	g.line = append(append(append(g.line, ' '), r.GetProbeId()...), ' ', byte(r.GetKind()))
	g.line = binary.BigEndian.AppendUint64(g.line, uint64(unix))
	g.line = binary.BigEndian.AppendUint64(g.line, uint64(r.GetValueThousandths()))
	g.digest.Write(g.line)
}

// GetLotId lets a key name its lot where lots are locked.
func (k dayKey) GetLotId() string { return k.LotID }
