package coopfiles

import "time"

var (
	phaseWords   = []string{"one", "two", "three"}
	markWords    = []string{"wetted", "filled", "levelling", "pasteurising", "conditioning", "cooling", "cooled", "spawned", "colonised"}
	readingWords = []string{"compost_temperature", "air_temperature", "ammonia", "oxygen", "moisture", "nitrogen", "ph", "carbon_dioxide", "hydrogen_sulphide"}
)

const mostKilos = 10_000_000

var yardTable = newTable(
	Table{File: "yards.csv", About: "A compost yard.", Key: []string{"yard_id"}},
	nil,
	code("yard_id", "Short name of the yard.", "quarry-end", func(r *Yard) *string { return &r.YardID }),
	text("name", "Name as the yard writes it.", "Quarry End Compost", 120, func(r *Yard) *string { return &r.Name }),
	optional(text("place", "Town or village.", "Upper Reach", 120, func(r *Yard) *string { return &r.Place })),
)

var slotTable = newTable(
	Table{File: "slots.csv", About: "A batch that a yard can make and that farms may ask for.", Key: []string{"slot_id"}},
	func(r *Slot) (string, string) {
		if r.SmallestLotKilos > r.CapacityKilos {
			return "smallest_lot_kg", "no more than capacity_kg"
		}
		return "", ""
	},
	code("slot_id", "Short name of the slot.", "quarry-end-20261207", func(r *Slot) *string { return &r.SlotID }),
	refers("yards.csv", code("yard_id", "The yard.", "quarry-end", func(r *Slot) *string { return &r.YardID })),
	date("ready_date", "Day on which the compost can be had.", "2026-12-07", func(r *Slot) *string { return &r.ReadyDate }),
	oneOf("phase", "Phase in which it leaves the yard.", "two", func(r *Slot) *string { return &r.Phase }, phaseWords...),
	whole("capacity_kg", "What the batch gives, kilograms as it comes.", "12000", 1, mostKilos, func(r *Slot) *int64 { return &r.CapacityKilos }),
	whole("smallest_lot_kg", "The smallest amount that the yard sells to one request, kilograms; 0 for any.", "1000", 0, mostKilos, func(r *Slot) *int64 { return &r.SmallestLotKilos }),
	whole("price_minor_per_tonne", "Price of one tonne in minor units (cents).", "9800", 0, 100_000_000, func(r *Slot) *int64 { return &r.PriceMinorPerTonne }),
	instant("request_cutoff", "Last instant at which a request is taken.", "2026-11-28T12:00:00Z", func(r *Slot) *time.Time { return &r.RequestCutoff }),
)

var compostRequestTable = newTable(
	Table{File: "compost_requests.csv", About: "What a farm asks for one room.", Key: []string{"compost_request_id"}},
	func(r *CompostRequest) (string, string) {
		switch {
		case r.SmallestUsefulKilos > r.WantedKilos:
			return "smallest_useful_kg", "no more than wanted_kg"
		case r.EarliestDate > r.LatestDate:
			return "latest_date", "no earlier than earliest_date"
		}
		return "", ""
	},
	code("compost_request_id", "Short name of the request.", "alder-brook-1-202612", func(r *CompostRequest) *string { return &r.CompostRequestID }),
	refers("farms.csv", code("farm_id", "The farm that asks.", "alder-brook", func(r *CompostRequest) *string { return &r.FarmID })),
	refers("rooms.csv", code("room_id", "The room to be filled.", "alder-brook-1", func(r *CompostRequest) *string { return &r.RoomID })),
	optional(refers("crops.csv", code("crop_id", "The planned crop, where there is one.", "alder-brook-1-20261208", func(r *CompostRequest) *string { return &r.CropID }))),
	whole("wanted_kg", "Kilograms asked for.", "4800", 1, mostKilos, func(r *CompostRequest) *int64 { return &r.WantedKilos }),
	whole("smallest_useful_kg", "Less than this is of no use, kilograms; 0 for any amount.", "3000", 0, mostKilos, func(r *CompostRequest) *int64 { return &r.SmallestUsefulKilos }),
	yesNo("whole_fill", "yes where the room takes all or nothing.", "no", func(r *CompostRequest) *bool { return &r.WholeFill }),
	date("earliest_date", "First acceptable day.", "2026-12-07", func(r *CompostRequest) *string { return &r.EarliestDate }),
	date("latest_date", "Last acceptable day.", "2026-12-12", func(r *CompostRequest) *string { return &r.LatestDate }),
	someOf("phases", "Acceptable phases.", "two+three", func(r *CompostRequest) *[]string { return &r.Phases }, phaseWords...),
)

var lotTable = newTable(
	Table{File: "lots.csv", About: "A batch of compost in the making or made.", Key: []string{"lot_id"}},
	nil,
	code("lot_id", "Lot code.", "quarry-end-26-37", func(r *Lot) *string { return &r.LotID }),
	refers("yards.csv", code("yard_id", "The yard that makes it.", "quarry-end", func(r *Lot) *string { return &r.YardID })),
	optional(refers("slots.csv", code("slot_id", "The slot for which it is made, where there was one.", "quarry-end-20261207", func(r *Lot) *string { return &r.SlotID }))),
	oneOf("phase", "Phase in which it leaves the yard.", "two", func(r *Lot) *string { return &r.Phase }, phaseWords...),
	date("started_date", "Day on which composting began.", "2026-11-16", func(r *Lot) *string { return &r.StartedDate }),
	whole("made_kg", "Kilograms made, as it comes.", "12000", 1, mostKilos, func(r *Lot) *int64 { return &r.MadeKilos }),
)

var lotMarkTable = newTable(
	Table{File: "lot_marks.csv", About: "The instant at which a lot passed from one step to the next.", Key: []string{"lot_id", "mark"}},
	nil,
	refers("lots.csv", code("lot_id", "The lot.", "quarry-end-26-37", func(r *LotMark) *string { return &r.LotID })),
	oneOf("mark", "wetted: wetting begun; filled: tunnel or room filled; cooled: ready for spawn; spawned and colonised: spawn run in the tunnel begun and ended; the others: begun.", "filled", func(r *LotMark) *string { return &r.Mark }, markWords...),
	instant("time", "When.", "2026-11-25T15:00:00Z", func(r *LotMark) *time.Time { return &r.Time }),
)

var readingTable = newTable(
	Table{File: "readings.csv", About: "One value of one probe.", MaxRows: 2_000_000, Key: []string{"lot_id", "probe_id", "kind", "time"}},
	nil,
	refers("lots.csv", code("lot_id", "The lot.", "quarry-end-26-37", func(r *Reading) *string { return &r.LotID })),
	probeCode("probe_id", "Name of the probe within the lot.", "p3", func(r *Reading) *string { return &r.ProbeID }),
	oneOf("kind", "What it measures.", "compost_temperature", func(r *Reading) *string { return &r.Kind }, readingWords...),
	instant("time", "When.", "2026-11-26T04:10:00Z", func(r *Reading) *time.Time { return &r.Time }),
	thousandths("value", "The value: °C; ammonia, carbon dioxide and hydrogen sulphide in ppm and oxygen in % by volume of air; moisture in % of wet mass; nitrogen in % of dry mass; pH.", "58.2", func(r *Reading) *int64 { return &r.ValueThousandths }),
)

var releaseTable = newTable(
	Table{File: "releases.csv", About: "A named person's release of a lot. The readings must prove it, or the reason for an exception is given.", Key: []string{"lot_id"}},
	nil,
	refers("lots.csv", code("lot_id", "The lot.", "quarry-end-26-37", func(r *Release) *string { return &r.LotID })),
	text("released_by", "The person who released it.", "Una Marsh", 120, func(r *Release) *string { return &r.ReleasedBy }),
	instant("released_at", "When. The readings must prove the lot as of then.", "2026-10-04T16:00:00+01:00", func(r *Release) *time.Time { return &r.ReleasedAt }),
	optional(text("exception_reason", "Why it was released although not all is proven; follows every pack.", "probe 2 failed at night", 400, func(r *Release) *string { return &r.ExceptionReason })),
)

var deliveryTable = newTable(
	Table{File: "deliveries.csv", About: "A part of a released lot brought to a room.", Key: []string{"lot_id", "room_id", "delivered_at"}},
	nil,
	refers("lots.csv", code("lot_id", "The lot.", "quarry-end-26-37", func(r *Delivery) *string { return &r.LotID })),
	refers("farms.csv", code("farm_id", "The farm that got it.", "alder-brook", func(r *Delivery) *string { return &r.FarmID })),
	refers("rooms.csv", code("room_id", "The room that got it.", "alder-brook-1", func(r *Delivery) *string { return &r.RoomID })),
	optional(refers("crops.csv", code("crop_id", "The crop that stands on it, where known.", "alder-brook-1-20261005", func(r *Delivery) *string { return &r.CropID }))),
	whole("delivered_kg", "Kilograms, as it comes.", "4800", 1, mostKilos, func(r *Delivery) *int64 { return &r.DeliveredKilos }),
	instant("delivered_at", "When.", "2026-10-05T07:30:00+01:00", func(r *Delivery) *time.Time { return &r.DeliveredAt }),
)
