package importer

import (
	"context"
	"maps"
	"slices"
	"strings"
	"time"

	"breakshare.example/deploy/internal/coopfiles"
	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	"breakshare.example/services/platform/fault"
)

// present is what the suite has of the co-op before the import, by id.
type present struct {
	coop       *schedulingv1.Coop // nil before the first import
	farms      map[string]*schedulingv1.Farm
	rooms      map[string]*schedulingv1.Room
	programmes map[string]bool
	crops      map[string]*schedulingv1.Crop
	yards      map[string]*compostlotv1.Yard
	slots      map[string]*compostlotv1.Slot
	lots       map[string]*compostlotv1.Lot
	products   map[string]*orderv1.Product
	customers  map[string]*orderv1.Customer
}

// known are the ids that the files may refer to beside those they bring.
func (p present) known() coopfiles.Known {
	return coopfiles.Known{
		"farms.csv": keys(p.farms), "rooms.csv": keys(p.rooms), "crops.csv": keys(p.crops), "yards.csv": keys(p.yards),
		"slots.csv": keys(p.slots), "lots.csv": keys(p.lots), "products.csv": keys(p.products), "customers.csv": keys(p.customers),
	}
}

func keys[V any](m map[string]V) map[string]bool {
	out := make(map[string]bool, len(m))
	for id := range m {
		out[id] = true
	}
	return out
}

func sortedKeys[V any](m map[string]V) string {
	return strings.Join(slices.Sorted(maps.Keys(m)), ", ")
}

func byID[M any](list []M, id func(M) string) map[string]M {
	out := make(map[string]M, len(list))
	for _, m := range list {
		out[id(m)] = m
	}
	return out
}

// read asks the services for all that an import may meet.
func (im Importer) read(ctx context.Context, files *coopfiles.Folder) (present, error) {
	var p present
	for _, ask := range []func(context.Context, *coopfiles.Folder, *present) error{im.readScheduling, im.readCrops, im.readCompost, im.readOrder} {
		if err := ask(ctx, files, &p); err != nil {
			return p, err
		}
	}
	return p, nil
}

func (im Importer) readScheduling(ctx context.Context, _ *coopfiles.Folder, p *present) error {
	coop, err := im.Scheduling.GetCoop(ctx, &schedulingv1.GetCoopRequest{})
	switch {
	case err == nil:
		p.coop = coop
	case fault.KindOf(err) != fault.NotFound:
		return err
	}
	farms, err := im.Scheduling.ListFarms(ctx, &schedulingv1.ListFarmsRequest{})
	if err != nil {
		return err
	}
	p.farms = byID(farms.GetFarms(), (*schedulingv1.Farm).GetFarmId)
	rooms, err := im.Scheduling.ListRooms(ctx, &schedulingv1.ListRoomsRequest{})
	if err != nil {
		return err
	}
	p.rooms = byID(rooms.GetRooms(), (*schedulingv1.Room).GetRoomId)
	programmes, err := im.Scheduling.ListProgrammes(ctx, &schedulingv1.ListProgrammesRequest{})
	if err != nil {
		return err
	}
	p.programmes = keys(byID(programmes.GetProgrammes(), (*schedulingv1.Programme).GetProgrammeId))
	return nil
}

// readCrops reads the calendar around every day of the files, in spans that it answers.
func (im Importer) readCrops(ctx context.Context, files *coopfiles.Folder, p *present) error {
	const reach, most = 300, 800 // days: the longest crop; the longest span of the calendar
	p.crops = make(map[string]*schedulingv1.Crop)
	first, last, any := span(files)
	if !any {
		return nil
	}
	last = last.AddDate(0, 0, reach)
	for from := first.AddDate(0, 0, -reach); !from.After(last); from = from.AddDate(0, 0, most+1) {
		to := from.AddDate(0, 0, most)
		if to.After(last) {
			to = last
		}
		calendar, err := im.Scheduling.GetCalendar(ctx, &schedulingv1.GetCalendarRequest{
			FromDate: from.Format(time.DateOnly), ToDate: to.Format(time.DateOnly),
		})
		if err != nil {
			return err
		}
		for _, c := range calendar.GetCrops() {
			p.crops[c.GetCropId()] = c
		}
	}
	return nil
}

// span is the first and last day that the files speak of where crops matter.
func span(files *coopfiles.Folder) (first, last time.Time, any bool) {
	take := func(day string) {
		t, err := time.Parse(time.DateOnly, day)
		if err != nil {
			return // an empty date
		}
		if !any || t.Before(first) {
			first = t
		}
		if !any || t.After(last) {
			last = t
		}
		any = true
	}
	for _, c := range files.Crops {
		take(c.FillDate)
		take(c.FirstPickDate)
	}
	for _, s := range files.Stages {
		take(s.Date)
	}
	for _, c := range files.CompostRequests {
		take(c.EarliestDate)
		take(c.LatestDate)
	}
	for _, d := range files.Deliveries {
		take(d.DeliveredAt.Format(time.DateOnly))
	}
	return first, last, any
}

// The days between which the services reckon.
const firstDay, lastDay = "1970-01-01", "2199-12-31"

func (im Importer) readCompost(ctx context.Context, _ *coopfiles.Folder, p *present) error {
	yards, err := im.Compost.ListYards(ctx, &compostlotv1.ListYardsRequest{})
	if err != nil {
		return err
	}
	p.yards = byID(yards.GetYards(), (*compostlotv1.Yard).GetYardId)
	slots, err := im.Compost.ListSlots(ctx, &compostlotv1.ListSlotsRequest{FromDate: firstDay, ToDate: lastDay})
	if err != nil {
		return err
	}
	p.slots = byID(slots.GetSlots(), (*compostlotv1.Slot).GetSlotId)
	lots, err := im.Compost.ListLots(ctx, &compostlotv1.ListLotsRequest{})
	if err != nil {
		return err
	}
	p.lots = byID(lots.GetLots(), (*compostlotv1.Lot).GetLotId)
	return nil
}

func (im Importer) readOrder(ctx context.Context, _ *coopfiles.Folder, p *present) error {
	products, err := im.Order.ListProducts(ctx, &orderv1.ListProductsRequest{})
	if err != nil {
		return err
	}
	p.products = byID(products.GetProducts(), (*orderv1.Product).GetProductId)
	customers, err := im.Order.ListCustomers(ctx, &orderv1.ListCustomersRequest{})
	if err != nil {
		return err
	}
	p.customers = byID(customers.GetCustomers(), (*orderv1.Customer).GetCustomerId)
	return nil
}
