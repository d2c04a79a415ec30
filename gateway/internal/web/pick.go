package web

import (
	"cmp"
	"context"
	"slices"
	"strconv"

	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	"breakshare.example/services/platform/fault"
)

// pickPage is what a farm packs for a day, room by room.
type pickPage struct {
	Day, Before, After string
	Today              string
	Form               *form
	Dispatch           *form
	Listed             bool
	Weighed            bool
	Rooms              []pickRoom
	Sent               bool // something was asked to be sent
	Note               []sentLine
}

// pickRoom is one room's part of the list.
type pickRoom struct {
	ID, Name string
	Lines    []pickLine
	Weigh    []weighing
	Infected bool // with a disease: it comes last
}

// pickLine is packs for one customer out of one lot.
type pickLine struct {
	Key, Customer, Product, Lot string
	Packs, PackGrams            int64
}

// weighing is one product of a room with what it needs and what was picked so far.
type weighing struct {
	ID, Room, Product, Name string
	NeedGrams, PickedGrams  int64
	Gross, Tare, Crates     input
	Date, Picker, Break     input
	Split                   split
	Stores                  []roomChoice // of the farm
	Form                    *form
	Enough                  bool
}

// sentLine is packs that left, with the codes to write on them.
type sentLine struct {
	Customer, Product string
	Packs, Allocated  int64
	Codes             []string
}

// showPick shows the pack list of a day: today's, or tomorrow's where nothing is to be packed
// today.
func (p *Pages) showPick(v *visit, f *form) (view, error) {
	farm, err := p.farmOf(v)
	if err != nil {
		return view{}, err
	}
	day, err := v.day("")
	if err != nil {
		return view{}, err
	}
	list, day, err := p.packList(v, farm, day)
	if err != nil {
		return view{}, err
	}
	page := pickPage{Day: day, Before: addDays(day, -1), After: addDays(day, 1), Today: v.today(0), Form: f, Dispatch: f.For("dispatch"), Listed: list != nil, Weighed: v.r.URL.Query().Get("weighed") != ""}
	var (
		rooms map[string]string
		lots  *harvestv1.ListPickLotsResponse
		order *harvestv1.GetRoomOrderResponse
		stock *harvestv1.GetColdStockResponse
	)
	err = together(v.ctx,
		ask(&order, p.harvest.GetRoomOrder, &harvestv1.GetRoomOrderRequest{FarmId: farm, Date: day}),
		func(ctx context.Context) error {
			res, err := p.scheduling.ListRooms(ctx, &schedulingv1.ListRoomsRequest{FarmId: farm})
			rooms = byID(res.GetRooms(), (*schedulingv1.Room).GetRoomId, (*schedulingv1.Room).GetName)
			return err
		},
		ask(&stock, p.harvest.GetColdStock, &harvestv1.GetColdStockRequest{FarmId: farm}),
		ask(&lots, p.harvest.ListPickLots, &harvestv1.ListPickLotsRequest{FromDate: addDays(day, -lookBack), ToDate: day, FarmId: farm}),
	)
	if err != nil {
		return view{}, err
	}
	page.fill(v, f, list, rooms, lots.GetPickLots())
	page.stores(stock.GetStores())
	page.inOrder(order.GetVisits())
	page.breaks(v, order.GetVisits())
	return view{template: "pick", title: "pick.title", data: page, keep: "/pick?day=" + day}, nil
}

// inOrder puts the rooms in the order in which nothing is carried from an old or sick crop to a
// young one; rooms of which nothing is known come last, as they were.
func (page *pickPage) inOrder(visits []*harvestv1.RoomVisit) {
	place := map[string]int{}
	for i, one := range visits {
		place[one.GetRoomId()] = i - len(visits)
	}
	slices.SortStableFunc(page.Rooms, func(a, b pickRoom) int { return cmp.Compare(place[a.ID], place[b.ID]) })
	for i := range page.Rooms {
		for _, one := range visits {
			page.Rooms[i].Infected = page.Rooms[i].Infected || one.GetRoomId() == page.Rooms[i].ID && one.GetInfected()
		}
	}
}

// breaks tells beside each field for the break which one the room stands in. Left blank, the
// weighing goes to the break that the crop's curve says.
func (page *pickPage) breaks(v *visit, visits []*harvestv1.RoomVisit) {
	in := byID(visits, (*harvestv1.RoomVisit).GetRoomId, (*harvestv1.RoomVisit).GetBreakNumber)
	for i, room := range page.Rooms {
		for j := range room.Weigh {
			if n := in[room.ID]; n > 0 {
				page.Rooms[i].Weigh[j].Break.Unit = v.words.T("pick.break_now", n)
			}
		}
	}
}

// packList is the list of a day; without a day, of today or else of tomorrow. It is nil where
// no match was confirmed.
func (p *Pages) packList(v *visit, farm, day string) (*orderv1.PackList, string, error) {
	days := []string{day}
	if day == "" {
		days = []string{v.today(0), v.today(1)}
	}
	for _, day = range days {
		list, err := p.order.GetPackList(v.ctx, &orderv1.GetPackListRequest{DeliveryDate: day, FarmId: farm})
		if err == nil && (len(list.GetLines()) > 0 || day == days[len(days)-1]) {
			return list, day, nil
		}
		if kind := fault.KindOf(err); err != nil && kind != fault.NotFound && kind != fault.Precondition {
			return nil, day, err
		}
	}
	return nil, day, nil
}

func (page *pickPage) fill(v *visit, f *form, list *orderv1.PackList, rooms map[string]string, lots []*harvestv1.PickLot) {
	picked := byID(lots, (*harvestv1.PickLot).GetPickLotId, (*harvestv1.PickLot).GetNetGrams)
	for _, l := range list.GetLines() {
		if last := len(page.Rooms) - 1; last < 0 || page.Rooms[last].ID != l.GetRoomId() {
			page.Rooms = append(page.Rooms, pickRoom{ID: l.GetRoomId(), Name: nameOf(rooms, l.GetRoomId())})
		}
		room := &page.Rooms[len(page.Rooms)-1]
		room.Lines = append(room.Lines, pickLine{
			Key: l.GetOrderId() + "." + l.GetPickLotId(), Customer: nameOr(l.GetCustomerName(), l.GetCustomerId()), Product: packedName(l),
			Lot: l.GetPickLotId(), Packs: l.GetPacks(), PackGrams: l.GetPackGrams(),
		})
		room.need(l, picked[l.GetPickLotId()])
	}
	for i := range page.Rooms {
		for j := range page.Rooms[i].Weigh {
			page.Rooms[i].Weigh[j].open(v, f, page.Day)
		}
	}
}

// stores lets each weighing say where it goes. With one store it goes there unless somebody says
// otherwise.
func (page *pickPage) stores(all []*harvestv1.StoreState) {
	for i := range page.Rooms {
		for j := range page.Rooms[i].Weigh {
			w := &page.Rooms[i].Weigh[j]
			only := ""
			if len(all) == 1 {
				only = all[0].GetStore().GetStoreId()
			}
			for _, s := range all {
				id := s.GetStore().GetStoreId()
				w.Stores = append(w.Stores, roomChoice{id, s.GetStore().GetName(), w.Form.Value("store_id", only) == id})
			}
		}
	}
}

// need adds a line to the weighing of its product. All lines of a product in a room share
// what was picked of their lots, which each lot counts once.
func (room *pickRoom) need(l *orderv1.PackListLine, picked int64) {
	id := l.GetPickLotId()
	i := slices.IndexFunc(room.Weigh, func(w weighing) bool { return w.ID == id })
	if i < 0 {
		room.Weigh = append(room.Weigh, weighing{ID: id, Room: l.GetRoomId(), Product: nameOr(l.GetPackedProductId(), l.GetProductId()), Name: packedName(l), PickedGrams: picked})
		i = len(room.Weigh) - 1
	}
	room.Weigh[i].NeedGrams += l.GetPacks() * l.GetPackGrams()
}

// packedName is the name of the product to pack, which may be another than the one ordered.
func packedName(l *orderv1.PackListLine) string {
	if packed := l.GetPackedProductId(); packed != "" && packed != l.GetProductId() {
		return packed
	}
	return nameOr(l.GetProductName(), l.GetProductId())
}

// open makes the form of a weighing.
func (w *weighing) open(v *visit, f *form, day string) {
	w.Form = f.For(w.ID)
	w.Enough = w.PickedGrams >= w.NeedGrams
	w.Gross = newInput(w.Form, w.ID, "kg", "gross_grams", v.words.T("pick.gross"), "", v.words.MassUnit())
	w.Tare = newInput(w.Form, w.ID, "kg", "tare_grams", v.words.T("pick.tare"), "", v.words.MassUnit())
	w.Crates = newInput(w.Form, w.ID, "whole", "crates", v.words.T("pick.crates"), "", "")
	w.Date = newInput(w.Form, w.ID, "date", "date", v.words.T("pick.date"), day, "")
	w.Picker = newInput(w.Form, w.ID, "text", "picker", v.words.T("pick.picker"), v.who.Name, "")
	w.Break = newInput(w.Form, w.ID, "whole", "break_number", v.words.T("pick.break"), "", "")
	w.Split = splitOf(v, w.Form, w.ID, nil)
}

func nameOr(name, id string) string { return cmp.Or(name, id) }

// dispatch sends what was packed and shows the codes to write on the packs.
func (p *Pages) dispatch(v *visit) (view, error) {
	farm, err := p.farmOf(v)
	if err != nil {
		return view{}, err
	}
	note, err := p.order.Dispatch(v.ctx, &orderv1.DispatchRequest{RequestId: v.r.PostFormValue("request_id"), DeliveryDate: v.r.PostFormValue("day"), FarmId: farm})
	if err != nil {
		return view{}, err
	}
	shown, err := p.showPick(v, newForm())
	if err != nil {
		return view{}, err
	}
	page := shown.data.(pickPage)
	page.Sent = true
	customers, products := map[string]string{}, map[string]string{}
	for _, room := range page.Rooms {
		for _, line := range room.Lines {
			customers[line.Key], products[line.Key] = line.Customer, line.Product
		}
	}
	for _, l := range note.GetLines() {
		key := l.GetOrderId() + "." + l.GetPickLotId()
		page.Note = append(page.Note, sentLine{
			Customer: nameOr(customers[key], l.GetCustomerId()), Product: nameOr(products[key], l.GetProductId()),
			Packs: l.GetPacks(), Allocated: l.GetAllocated(), Codes: runs(l.GetPackIds()),
		})
	}
	shown.data = page
	return shown, nil
}

// runs shortens codes that number on from one another: "a-001", "a-002", "a-003" is
// "a-001–003". The order is kept.
func runs(codes []string) []string {
	var out []string
	for i := 0; i < len(codes); {
		j := i + 1
		for j < len(codes) && follows(codes[j-1], codes[j]) {
			j++
		}
		if j-i == 1 {
			out = append(out, codes[i])
		} else {
			out = append(out, codes[i]+"–"+codes[j-1][numberAt(codes[j-1]):])
		}
		i = j
	}
	return out
}

// follows reports whether b is a with its last number one higher, equally long.
func follows(a, b string) bool {
	if len(a) != len(b) {
		return false
	}
	cut := numberAt(a)
	if cut == len(a) || a[:cut] != b[:cut] {
		return false
	}
	m, errA := strconv.ParseInt(a[cut:], 10, 64)
	n, errB := strconv.ParseInt(b[cut:], 10, 64)
	return errA == nil && errB == nil && n == m+1
}

// numberAt is where the number at the end of a code begins.
func numberAt(code string) int {
	cut := len(code)
	for cut > 0 && code[cut-1] >= '0' && code[cut-1] <= '9' && len(code)-cut < 15 {
		cut--
	}
	return cut
}
