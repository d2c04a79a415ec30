package onemachine_test

import (
	"context"
	"errors"
	"fmt"
	"io"
	"testing"
	"time"

	"github.com/google/uuid"
	"google.golang.org/protobuf/types/known/timestamppb"

	"breakshare.example/deploy/onemachine"
	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	typev1 "breakshare.example/proto/gen/breakshare/type/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/testkit"
)

// The day of the test: the match is run on the afternoon before.
const (
	deliveryDay = "2026-11-26"
	farmID      = "alder-brook"
	roomID      = "alder-brook-1"
	cropID      = "alder-brook-1-20261012"
	productID   = "white-closed-2kg"
	lotID       = "quarry-end-26-41"
	yardID      = "quarry-end"
)

// fillDay puts deliveryDay into the first break of the built-in bulk programme: casing after
// 17 days, first pick 19 days after casing, that is 36 days after filling, on 17 November.
const fillDay = "2026-10-12"

// filled is when the batch came into the tunnel; it is cooled eight days later.
var filled = time.Date(2026, 10, 3, 8, 0, 0, 0, time.UTC)

// day drives the suite through one day of a small co-op, from the yard to the kitchen, each
// step through gRPC.
type day struct {
	t     *testing.T
	stack *onemachine.Stack
	ctx   context.Context
	coop  string

	scheduling schedulingv1.SchedulingServiceClient
	compostlot compostlotv1.CompostLotServiceClient
	harvest    harvestv1.HarvestServiceClient
	order      orderv1.OrderServiceClient
}

func newDay(t *testing.T, stack *onemachine.Stack, who identity.Identity) *day {
	t.Helper()
	d := &day{t: t, stack: stack, ctx: testkit.Context(t, who), coop: who.CoopID}
	d.scheduling = schedulingv1.NewSchedulingServiceClient(connect(t, stack, "scheduling"))
	d.compostlot = compostlotv1.NewCompostLotServiceClient(connect(t, stack, "compostlot"))
	d.harvest = harvestv1.NewHarvestServiceClient(connect(t, stack, "harvest"))
	d.order = orderv1.NewOrderServiceClient(connect(t, stack, "order"))
	return d
}

// requestID is the same for the same step of every run, as a caller's would be that tries
// again.
func requestID(step string) string {
	return uuid.NewSHA1(uuid.NameSpaceOID, []byte(step)).String()
}

func must[M any](t *testing.T, what string, answer M, err error) M {
	t.Helper()
	if err != nil {
		t.Fatalf("%s: %v", what, err)
	}
	return answer
}

// settle saves what the co-op is: settings, farm, room, product, customers.
func (d *day) settle() {
	d.t.Helper()
	coop, err := d.scheduling.SaveCoop(d.ctx, &schedulingv1.SaveCoopRequest{RequestId: requestID("coop"), Coop: &schedulingv1.Coop{
		Name: "Fennick Vale Growers", TimeZone: "Europe/Dublin", CurrencyCode: "EUR",
	}})
	must(d.t, "save co-op", coop, err)
	farm, err := d.scheduling.SaveFarm(d.ctx, &schedulingv1.SaveFarmRequest{RequestId: requestID("farm"), Farm: &schedulingv1.Farm{
		FarmId: farmID, Name: "Alder Brook", MemberShares: 40, CarryCostMinorPerKg: 9,
	}})
	must(d.t, "save farm", farm, err)
	room, err := d.scheduling.SaveRoom(d.ctx, &schedulingv1.SaveRoomRequest{RequestId: requestID("room"), Room: &schedulingv1.Room{
		RoomId: roomID, FarmId: farmID, Name: "House 1", AreaM2: 120, GrowingSystem: typev1.GrowingSystem_GROWING_SYSTEM_BULK_PHASE_TWO,
	}})
	must(d.t, "save room", room, err)
	product, err := d.order.SaveProduct(d.ctx, &orderv1.SaveProductRequest{RequestId: requestID("product"), Product: &orderv1.Product{
		ProductId: productID, Name: "White closed cups, 2 kg", Species: "white mushroom", PickStage: typev1.PickStage_PICK_STAGE_CLOSED,
		PackGrams: 2000, PackValueMinor: 720, ShelfLifeDays: 2,
	}})
	must(d.t, "save product", product, err)
	for _, c := range []struct {
		id    string
		class int32
	}{{"copper-pan", 1}, {"juniper-table", 2}} {
		customer, err := d.order.SaveCustomer(d.ctx, &orderv1.SaveCustomerRequest{RequestId: requestID(c.id), Customer: &orderv1.Customer{
			CustomerId: c.id, Name: c.id, PriorityClass: c.class,
		}})
		must(d.t, "save customer", customer, err)
	}
	yard, err := d.compostlot.SaveYard(d.ctx, &compostlotv1.SaveYardRequest{RequestId: requestID("yard"), Yard: &compostlotv1.Yard{
		YardId: yardID, Name: "Quarry End",
	}})
	must(d.t, "save yard", yard, err)
}

// grow takes a lot from the yard into the room, on evidence, and the crop to its first break.
func (d *day) grow() {
	d.t.Helper()
	lot, err := d.compostlot.OpenLot(d.ctx, &compostlotv1.OpenLotRequest{RequestId: requestID("lot"), Lot: &compostlotv1.Lot{
		LotId: lotID, YardId: yardID, Phase: typev1.CompostPhase_COMPOST_PHASE_TWO, StartedDate: "2026-09-24", MadeKg: 30000,
	}})
	must(d.t, "open lot", lot, err)

	release := &compostlotv1.ReleaseLotRequest{
		RequestId: requestID("release"), LotId: lotID, ReleasedBy: "Maeve Tarrant", ReleasedAt: timestamppb.New(filled.Add(195 * time.Hour)),
	}
	if _, err := d.compostlot.ReleaseLot(d.ctx, release); fault.KindOf(err) != fault.Precondition {
		d.t.Fatalf("a lot without evidence was not refused: %v", err)
	}
	d.prove()
	must(d.t, "release", release, second(d.compostlot.ReleaseLot(d.ctx, release)))

	crop, err := d.scheduling.PlanCrop(d.ctx, &schedulingv1.PlanCropRequest{RequestId: requestID("crop"), Plan: &schedulingv1.CropPlan{
		CropId: cropID, RoomId: roomID, ProgrammeId: "white-bulk-2", From: &schedulingv1.CropPlan_FillDate{FillDate: fillDay},
	}})
	must(d.t, "plan crop", crop, err)
	delivery, err := d.compostlot.DeliverLot(d.ctx, &compostlotv1.DeliverLotRequest{
		RequestId: requestID("deliver"), LotId: lotID, FarmId: farmID, RoomId: roomID, CropId: cropID, DeliveredKg: 10728,
		DeliveredAt: timestamppb.New(time.Date(2026, 10, 12, 7, 30, 0, 0, time.UTC)),
	})
	must(d.t, "deliver", delivery, err)
	for _, s := range []struct {
		kind schedulingv1.StageKind
		date string
	}{
		{schedulingv1.StageKind_STAGE_KIND_FILLING, fillDay},
		{schedulingv1.StageKind_STAGE_KIND_CASING, "2026-10-29"},
		{schedulingv1.StageKind_STAGE_KIND_CROPPING, "2026-11-17"},
	} {
		crop, err := d.scheduling.RecordStage(d.ctx, &schedulingv1.RecordStageRequest{RequestId: requestID("stage" + s.date), CropId: cropID, Kind: s.kind, Date: s.date})
		must(d.t, "record "+s.kind.String(), crop, err)
	}
}

// prove streams the readings of a lot that was made well, and its marks.
func (d *day) prove() {
	d.t.Helper()
	marks := &compostlotv1.MarkPhasesRequest{RequestId: requestID("marks")}
	for _, m := range []struct {
		mark  compostlotv1.PhaseMark
		after time.Duration
	}{
		{compostlotv1.PhaseMark_PHASE_MARK_FILLED, 0},
		{compostlotv1.PhaseMark_PHASE_MARK_PASTEURISING, 24 * time.Hour},
		{compostlotv1.PhaseMark_PHASE_MARK_CONDITIONING, 36 * time.Hour},
		{compostlotv1.PhaseMark_PHASE_MARK_COOLING, 168 * time.Hour},
		{compostlotv1.PhaseMark_PHASE_MARK_COOLED, 192 * time.Hour},
	} {
		marks.Marks = append(marks.Marks, &compostlotv1.MarkedPhase{LotId: lotID, Mark: m.mark, Time: timestamppb.New(filled.Add(m.after))})
	}
	answer, err := d.compostlot.MarkPhases(d.ctx, marks)
	must(d.t, "mark phases", answer, err)

	stream, err := d.compostlot.RecordReadings(d.ctx)
	must(d.t, "open stream of readings", stream, err)
	batch := &compostlotv1.RecordReadingsRequest{RequestId: requestID("readings"), Readings: readings()}
	if err := stream.Send(batch); err != nil && !errors.Is(err, io.EOF) {
		d.t.Fatal(err)
	}
	stored, err := stream.CloseAndRecv()
	must(d.t, "store readings", stored, err)
}

// readings are those of a batch that is heated to 61 °C for half a day, conditioned at 48 °C
// for five days and cooled to 25 °C, every ten minutes, with a small swing because a value
// that never moves proves nothing.
func readings() []*compostlotv1.Reading {
	var all []*compostlotv1.Reading
	add := func(probe string, kind compostlotv1.ReadingKind, after time.Duration, milli int64) {
		all = append(all, &compostlotv1.Reading{LotId: lotID, ProbeId: probe, Kind: kind, Time: timestamppb.New(filled.Add(after)), ValueThousandths: milli})
	}
	for step := range int64(192*6 + 1) {
		after := time.Duration(step) * 10 * time.Minute
		swing := step % 7 * 100
		add("p1", compostlotv1.ReadingKind_READING_KIND_COMPOST_TEMPERATURE, after, warmth(after)+swing)
		add("p2", compostlotv1.ReadingKind_READING_KIND_COMPOST_TEMPERATURE, after, warmth(after)+600-swing)
		add("a1", compostlotv1.ReadingKind_READING_KIND_AIR_TEMPERATURE, after, warmth(after)+swing)
	}
	for i := range int64(3) {
		add("n1", compostlotv1.ReadingKind_READING_KIND_AMMONIA, 192*time.Hour+time.Duration(i)*time.Hour, 4000+i*300)
	}
	add("lab", compostlotv1.ReadingKind_READING_KIND_MOISTURE, 192*time.Hour, 69500)
	add("lab-n", compostlotv1.ReadingKind_READING_KIND_NITROGEN, 192*time.Hour, 2200)
	add("lab-ph", compostlotv1.ReadingKind_READING_KIND_PH, 192*time.Hour, 7500)
	return all
}

// warmth is the temperature of the batch in thousandths of a degree Celsius.
func warmth(after time.Duration) int64 {
	hours := int64(after / time.Hour)
	switch {
	case hours < 24:
		return 46000
	case hours < 36:
		return 60600
	case hours < 168:
		return 47500
	case hours < 184:
		return 47500 - (hours-168)*1400
	default:
		return 24800
	}
}

// expect pushes what the grower expects.
func (d *day) expect() {
	d.t.Helper()
	answer, err := d.harvest.PushExpectedPicks(d.ctx, push())
	must(d.t, "push expected picks", answer, err)
}

func push() *harvestv1.PushExpectedPicksRequest {
	return &harvestv1.PushExpectedPicksRequest{RequestId: requestID("push"), ExpectedPicks: []*harvestv1.ExpectedPick{{
		RoomId: roomID, ProductId: productID, Date: deliveryDay, LowGrams: 60000, LikelyGrams: 81000, HighGrams: 95000,
	}}}
}

// sell places the orders, runs the match as soon as order has heard of the supply, and
// confirms it.
func (d *day) sell() *orderv1.Match {
	d.t.Helper()
	d.placeOrders()
	var match *orderv1.Match
	tries := 0
	testkit.Eventually(d.t, "the supply to reach order", func() bool {
		tries++
		match = d.run(fmt.Sprintf("match %d", tries))
		return len(match.GetAllocations()) > 0
	})
	confirmed, err := d.order.ConfirmMatch(d.ctx, &orderv1.ConfirmMatchRequest{RequestId: requestID("confirm " + match.GetMatchId()), MatchId: match.GetMatchId(), Etag: match.GetEtag()})
	return must(d.t, "confirm", confirmed, err)
}

// placeOrders has both kitchens order, 45 packs together.
func (d *day) placeOrders() {
	d.t.Helper()
	for customer, packs := range map[string]int64{"copper-pan": 25, "juniper-table": 20} {
		placed, err := d.order.PlaceOrder(d.ctx, &orderv1.PlaceOrderRequest{RequestId: requestID("order" + customer), Order: &orderv1.Order{
			OrderId: customer + "-1126", CustomerId: customer, DeliveryDate: deliveryDay, Lines: []*orderv1.OrderLine{{ProductId: productID, Packs: packs}},
		}})
		must(d.t, "place order", placed, err)
	}
}

func (d *day) run(step string) *orderv1.Match {
	d.t.Helper()
	stream, err := d.order.RunMatch(d.ctx, &orderv1.RunMatchRequest{RequestId: uuid.NewString(), DeliveryDate: deliveryDay})
	must(d.t, step, stream, err)
	var match *orderv1.Match
	for {
		message, err := stream.Recv()
		if errors.Is(err, io.EOF) {
			return match
		}
		must(d.t, step, message, err)
		if message.GetMatch() != nil {
			match = message.GetMatch()
		}
	}
}

// deliver picks, dispatches what was picked, and has the kitchens confirm it.
func (d *day) deliver() *orderv1.DispatchNote {
	d.t.Helper()
	picked, err := d.harvest.RecordPick(d.ctx, &harvestv1.RecordPickRequest{RequestId: requestID("pick"), Pick: &harvestv1.Pick{
		RoomId: roomID, ProductId: productID, Date: deliveryDay, GrossGrams: 93000, TareGrams: 9000, Crates: 14,
	}})
	must(d.t, "record pick", picked, err)
	var note *orderv1.DispatchNote
	tries := 0
	testkit.Eventually(d.t, "the picks to reach order", func() bool {
		tries++
		sent, err := d.order.Dispatch(d.ctx, &orderv1.DispatchRequest{RequestId: uuid.NewString(), DeliveryDate: deliveryDay, FarmId: farmID})
		if fault.KindOf(err) == fault.Precondition && err != nil {
			return false
		}
		note = must(d.t, "dispatch", sent, err)
		return packsOf(note) > 0
	})
	for customer, packs := range map[string]int64{"copper-pan": 25, "juniper-table": 15} {
		confirmed, err := d.order.ConfirmDelivery(d.ctx, &orderv1.ConfirmDeliveryRequest{RequestId: requestID("received" + customer), OrderId: customer + "-1126", ReceivedPacks: packs})
		must(d.t, "confirm delivery", confirmed, err)
	}
	return note
}

func packsOf(note *orderv1.DispatchNote) int {
	n := 0
	for _, l := range note.GetLines() {
		n += len(l.GetPackIds())
	}
	return n
}

func second[A any](_ A, err error) error { return err }
