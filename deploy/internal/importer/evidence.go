package importer

import (
	"context"
	"slices"

	"google.golang.org/protobuf/types/known/timestamppb"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
)

func (r *run) lotMarks(ctx context.Context) (Outcome, error) {
	var p pending[*compostlotv1.MarkedPhase]
	for _, m := range r.files.LotMarks {
		report, err := r.report(ctx, m.LotID)
		if err != nil {
			return Outcome{}, err
		}
		mark := item[*compostlotv1.MarkedPhase]{&compostlotv1.MarkedPhase{LotId: m.LotID, Mark: marks[m.Mark], Time: timestamppb.New(m.Time)}, []int{m.Line}}
		i := slices.IndexFunc(report.GetMarks(), func(have *compostlotv1.MarkedPhase) bool { return have.GetMark() == marks[m.Mark] })
		switch {
		case i < 0:
			p.fresh = append(p.fresh, mark)
		case report.GetMarks()[i].GetTime().AsTime().Equal(m.Time):
			p.same++
		default:
			p.changed = append(p.changed, mark)
		}
	}
	return save(ctx, r, source{file: "lot_marks.csv"}, p, func(list []*compostlotv1.MarkedPhase) *compostlotv1.MarkPhasesRequest {
		return &compostlotv1.MarkPhasesRequest{Marks: list}
	}, r.Compost.MarkPhases)
}

// perMessage is how many readings travel in one message of the stream: well under gRPC's
// usual limit of 4 MiB.
const perMessage = 5000

// readings streams the readings of lots whose evidence is not complete: a lot that is
// released, with as many readings as the file has, is left alone.
func (r *run) readings(ctx context.Context) (Outcome, error) {
	inFile := make(map[string]int64)
	for _, m := range r.files.Readings {
		inFile[m.LotID]++
	}
	complete := make(map[string]bool)
	for lotID, count := range inFile {
		report, err := r.report(ctx, lotID)
		if err != nil {
			return Outcome{}, err
		}
		complete[lotID] = report.GetLot().GetState() != compostlotv1.LotState_LOT_STATE_OPEN && report.GetReadings() == count
	}
	var o Outcome
	from := source{file: "readings.csv", columns: map[string]string{"value_thousandths": "value"}}
	all := &compostlotv1.RecordReadingsRequest{}
	for _, m := range r.files.Readings {
		if complete[m.LotID] {
			o.Same++
			continue
		}
		from.lines = append(from.lines, []int{m.Line})
		all.Readings = append(all.Readings, &compostlotv1.Reading{
			LotId: m.LotID, ProbeId: m.ProbeID, Kind: readingKinds[m.Kind], Time: timestamppb.New(m.Time), ValueThousandths: m.ValueThousandths,
		})
	}
	if len(all.GetReadings()) == 0 {
		return o, nil
	}
	err := r.send(ctx, from, all, func(ctx context.Context) error {
		answer, err := r.stream(ctx, all)
		if err == nil {
			o.New, o.Same = int(answer.GetStored()), o.Same+int(answer.GetAlreadyKnown())
		}
		return err
	})
	return o, err
}

// stream sends the readings in messages of one request, which the service takes whole or
// not at all.
func (r *run) stream(ctx context.Context, all *compostlotv1.RecordReadingsRequest) (*compostlotv1.RecordReadingsResponse, error) {
	stream, err := r.Compost.RecordReadings(ctx)
	if err != nil {
		return nil, err
	}
	for part := range slices.Chunk(all.GetReadings(), perMessage) {
		if stream.Send(&compostlotv1.RecordReadingsRequest{RequestId: all.GetRequestId(), Readings: part}) != nil {
			break // the service has ended the stream; its reason comes with the answer
		}
	}
	return stream.CloseAndRecv()
}

// releases releases the lots that are not released yet.
func (r *run) releases(ctx context.Context) (Outcome, error) {
	var p pending[*compostlotv1.LotRelease]
	for _, m := range r.files.Releases {
		report, err := r.report(ctx, m.LotID)
		if err != nil {
			return Outcome{}, err
		}
		// A hold after a release is a later decision, which a file does not undo.
		if state := report.GetLot().GetState(); state == compostlotv1.LotState_LOT_STATE_RELEASED || state == compostlotv1.LotState_LOT_STATE_HELD {
			p.same++
			continue
		}
		p.fresh = append(p.fresh, item[*compostlotv1.LotRelease]{&compostlotv1.LotRelease{
			LotId: m.LotID, ReleasedBy: m.ReleasedBy, ReleasedAt: timestamppb.New(m.ReleasedAt), ExceptionReason: m.ExceptionReason,
		}, []int{m.Line}})
	}
	from := source{file: "releases.csv", columns: map[string]string{"criteria": ""}}
	return save(ctx, r, from, p, func(list []*compostlotv1.LotRelease) *compostlotv1.BatchReleaseLotsRequest {
		return &compostlotv1.BatchReleaseLotsRequest{Releases: list}
	}, r.Compost.BatchReleaseLots)
}

// deliveries brings lots to rooms, as far as the suite does not know of it.
func (r *run) deliveries(ctx context.Context) (Outcome, error) {
	var p pending[*compostlotv1.NewDelivery]
	taken := make(map[*compostlotv1.LotDelivery]bool)
	for _, m := range r.files.Deliveries {
		report, err := r.report(ctx, m.LotID)
		if err != nil {
			return Outcome{}, err
		}
		i := slices.IndexFunc(report.GetDeliveries(), func(d *compostlotv1.LotDelivery) bool {
			return !taken[d] && d.GetRoomId() == m.RoomID && d.GetDeliveredKg() == m.DeliveredKilos && d.GetDeliveredAt().AsTime().Equal(m.DeliveredAt)
		})
		if i >= 0 {
			taken[report.GetDeliveries()[i]] = true
			p.same++
			continue
		}
		p.fresh = append(p.fresh, item[*compostlotv1.NewDelivery]{&compostlotv1.NewDelivery{
			LotId: m.LotID, FarmId: m.FarmID, RoomId: m.RoomID, CropId: m.CropID, DeliveredKg: m.DeliveredKilos, DeliveredAt: timestamppb.New(m.DeliveredAt),
		}, []int{m.Line}})
	}
	return save(ctx, r, source{file: "deliveries.csv"}, p, func(list []*compostlotv1.NewDelivery) *compostlotv1.BatchDeliverLotsRequest {
		return &compostlotv1.BatchDeliverLotsRequest{Deliveries: list}
	}, r.Compost.BatchDeliverLots)
}
