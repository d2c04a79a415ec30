package coopfiles

import "time"

// Words of the columns that take one of a few.
var (
	systemWords  = []string{"trays", "shelves", "bulk_phase_two", "bulk_phase_three", "bags"}
	climateWords = []string{"air_temperature", "humidity", "carbon_dioxide", "compost_temperature"}
	stageWords   = []string{"filling", "phase_two", "spawning", "spawn_run", "casing", "case_run", "pinning", "cropping", "cook_out", "idle"}
)

var coopTable = newTable(
	Table{File: "coop.csv", Needed: true, MaxRows: 1, About: "The co-op itself: one row.", Key: []string{"coop_id"}},
	nil,
	uuidText("coop_id", "The co-op in this suite; make one once (`uuidgen`) and keep it.", "0197f3c2-5b1e-7c44-9a10-3d2f6b8e4a57", func(r *Coop) *string { return &r.CoopID }),
	text("name", "Name on pages and lists.", "Fellside Growers", 120, func(r *Coop) *string { return &r.Name }),
	zone("time_zone", "Zone in which all dates are read.", "Europe/Dublin", func(r *Coop) *string { return &r.TimeZone }),
	currency("currency_code", "Currency of all money.", "EUR", func(r *Coop) *string { return &r.CurrencyCode }),
)

var farmTable = newTable(
	Table{File: "farms.csv", About: "A member farm.", Key: []string{"farm_id"}},
	nil,
	code("farm_id", "Short name of the farm.", "alder-brook", func(r *Farm) *string { return &r.FarmID }),
	text("name", "Name as the farm writes it.", "Alder Brook Farm", 120, func(r *Farm) *string { return &r.Name }),
	optional(text("place", "Town or village.", "Upper Reach", 120, func(r *Farm) *string { return &r.Place })),
	whole("member_shares", "Weight of the farm when something short is shared out.", "120", 1, 1_000_000, func(r *Farm) *int64 { return &r.MemberShares }),
	whole("carry_cost_minor_per_kg", "Cost of carrying one kilogram to the hub, in minor units (cents).", "12", 0, 1_000_000, func(r *Farm) *int64 { return &r.CarryCostMinorPerKilo }),
)

var roomTable = newTable(
	Table{File: "rooms.csv", About: "A growing room.", Key: []string{"room_id"}},
	nil,
	code("room_id", "Short name of the room, unique in the co-op.", "alder-brook-1", func(r *Room) *string { return &r.RoomID }),
	refers("farms.csv", code("farm_id", "The farm on which it stands.", "alder-brook", func(r *Room) *string { return &r.FarmID })),
	text("name", "Name on the door.", "House 1", 120, func(r *Room) *string { return &r.Name }),
	whole("area_m2", "Bed area, or ground under bags or blocks, in square metres.", "48", 1, 100_000, func(r *Room) *int64 { return &r.AreaM2 }),
	oneOf("growing_system", "How crops stand in it.", "shelves", func(r *Room) *string { return &r.GrowingSystem }, systemWords...),
)

var cropTable = newTable(
	Table{File: "crops.csv", About: "One cycle of one room, running or planned. One of the two dates is given.", Key: []string{"crop_id"}},
	func(r *Crop) (string, string) {
		if (r.FillDate == "") == (r.FirstPickDate == "") {
			return "fill_date", "one of fill_date and first_pick_date, the other left empty"
		}
		return "", ""
	},
	code("crop_id", "Short name of the crop; room and day of filling make a good one.", "alder-brook-1-20261005", func(r *Crop) *string { return &r.CropID }),
	refers("rooms.csv", code("room_id", "The room.", "alder-brook-1", func(r *Crop) *string { return &r.RoomID })),
	code("programme_id", "The crop programme: a built-in one or the co-op's own.", "white-shelves", func(r *Crop) *string { return &r.ProgrammeID }),
	optional(date("fill_date", "Day of filling, day 0: planned forwards from it.", "2026-10-05", func(r *Crop) *string { return &r.FillDate })),
	optional(date("first_pick_date", "Wanted first day of picking: planned backwards from it.", "2026-11-21", func(r *Crop) *string { return &r.FirstPickDate })),
)

var stageTable = newTable(
	Table{File: "stages.csv", About: "The day on which a step of a crop really began.", Key: []string{"crop_id", "kind"}},
	nil,
	refers("crops.csv", code("crop_id", "The crop.", "alder-brook-1-20261005", func(r *Stage) *string { return &r.CropID })),
	oneOf("kind", "The step that began.", "casing", func(r *Stage) *string { return &r.Kind }, stageWords...),
	date("date", "The day on which it began.", "2026-11-02", func(r *Stage) *string { return &r.Date }),
)

var climateTable = newTable(
	Table{File: "climate.csv", About: "One measurement in a growing room, checked against the limits of its crop's programme.", MaxRows: 2_000_000, Key: []string{"room_id", "kind", "time"}},
	nil,
	refers("rooms.csv", code("room_id", "The room.", "alder-brook-1", func(r *ClimateReading) *string { return &r.RoomID })),
	oneOf("kind", "What was measured; compost_temperature: in the compost or substrate.", "carbon_dioxide", func(r *ClimateReading) *string { return &r.Kind }, climateWords...),
	instant("time", "When.", "2026-11-25T06:15:00Z", func(r *ClimateReading) *time.Time { return &r.Time }),
	thousandths("value", "The value: °C, kept to a tenth; humidity in %, carbon dioxide in ppm by volume, both kept whole.", "780", func(r *ClimateReading) *int64 { return &r.ValueThousandths }),
)
