package coopfiles

var pickStageWords = []string{"closed", "veiled", "open", "flat"}

const mostGrams = 1_000_000_000

var productTable = newTable(
	Table{File: "products.csv", About: "What is sold: a mushroom of a species, stage, size and grade in a pack.", Key: []string{"product_id"}},
	nil,
	code("product_id", "Short name of the product.", "white-closed-2kg", func(r *Product) *string { return &r.ProductID }),
	text("name", "Name on lists.", "White closed cups, 2 kg", 120, func(r *Product) *string { return &r.Name }),
	text("species", "Species, as the crop programmes say it: white mushroom, brown mushroom, oyster mushroom, shiitake, lion's mane.", "white mushroom", 120, func(r *Product) *string { return &r.Species }),
	optional(text("strain", "Strain; empty where any will do.", "white hybrid strain", 120, func(r *Product) *string { return &r.Strain })),
	optional(oneOf("pick_stage", "Stage of picking in the terms of UNECE FFV-24; empty for species without stages.", "closed", func(r *Product) *string { return &r.PickStage }, pickStageWords...)),
	optional(text("size", "Size word of the co-op's own; empty for unsized.", "medium", 60, func(r *Product) *string { return &r.Size })),
	optional(text("grade", "Grade word of the co-op's own; empty for ungraded.", "I", 60, func(r *Product) *string { return &r.Grade })),
	whole("pack_grams", "Net weight of one pack, grams.", "2000", 1, 100_000, func(r *Product) *int64 { return &r.PackGrams }),
	whole("pack_value_minor", "Value of one pack to the co-op in minor units (cents).", "960", 0, 10_000_000, func(r *Product) *int64 { return &r.PackValueMinor }),
	whole("shelf_life_days", "Days after picking within which a pack may be delivered; 0 is the day of picking.", "3", 0, 30, func(r *Product) *int64 { return &r.ShelfLifeDays }),
)

var customerTable = newTable(
	Table{File: "customers.csv", About: "A kitchen that buys.", Key: []string{"customer_id"}},
	nil,
	code("customer_id", "Short name of the kitchen.", "copper-pan", func(r *Customer) *string { return &r.CustomerID }),
	text("name", "Name as the kitchen writes it.", "The Copper Pan", 120, func(r *Customer) *string { return &r.Name }),
	optional(text("place", "Town or village.", "Upper Reach", 120, func(r *Customer) *string { return &r.Place })),
	whole("priority_class", "Class 1 is served before class 2 where something is short.", "1", 1, 9, func(r *Customer) *int64 { return &r.PriorityClass }),
)

var orderTable = newTable(
	Table{File: "orders.csv", MaxRows: 50_000, About: "One line of an order. The lines of an order share order_id, customer_id and delivery_date.", Key: []string{"order_id", "product_id"}},
	func(r *OrderRow) (string, string) {
		if r.SmallestPacks > r.Packs {
			return "smallest_packs", "no more than packs"
		}
		return "", ""
	},
	code("order_id", "Short name of the order.", "copper-pan-20261126", func(r *OrderRow) *string { return &r.OrderID }),
	refers("customers.csv", code("customer_id", "The kitchen.", "copper-pan", func(r *OrderRow) *string { return &r.CustomerID })),
	date("delivery_date", "Day of delivery.", "2026-11-26", func(r *OrderRow) *string { return &r.DeliveryDate }),
	refers("products.csv", code("product_id", "The product.", "white-closed-2kg", func(r *OrderRow) *string { return &r.ProductID })),
	whole("packs", "Packs of it.", "4", 1, 100_000, func(r *OrderRow) *int64 { return &r.Packs }),
	lackable(optional(whole("smallest_packs", "The fewest packs that are of use: with fewer the kitchen would rather have none. Empty where any are; without the column orders keep what they have in the suite.", "2", 0, 100_000, func(r *OrderRow) *int64 { return &r.SmallestPacks }))),
)

var expectedPickTable = newTable(
	Table{File: "expected_picks.csv", About: "What a grower expects to pick of one product in one room on one day.", Key: []string{"room_id", "product_id", "date"}},
	func(r *ExpectedPick) (string, string) {
		if r.LowGrams > r.LikelyGrams || r.LikelyGrams > r.HighGrams {
			return "likely_grams", "no less than low_grams and no more than high_grams"
		}
		return "", ""
	},
	refers("rooms.csv", code("room_id", "The room.", "alder-brook-1", func(r *ExpectedPick) *string { return &r.RoomID })),
	refers("products.csv", code("product_id", "The product as it will be packed.", "white-closed-2kg", func(r *ExpectedPick) *string { return &r.ProductID })),
	date("date", "Day of picking.", "2026-11-26", func(r *ExpectedPick) *string { return &r.Date }),
	whole("low_grams", "So much at the least: one day in ten gives less. Grams.", "52000", 0, mostGrams, func(r *ExpectedPick) *int64 { return &r.LowGrams }),
	whole("likely_grams", "Most likely, grams.", "64000", 0, mostGrams, func(r *ExpectedPick) *int64 { return &r.LikelyGrams }),
	whole("high_grams", "So much at the most: one day in ten gives more. Grams.", "78000", 0, mostGrams, func(r *ExpectedPick) *int64 { return &r.HighGrams }),
)

var pickTable = newTable(
	Table{File: "picks.csv", About: "One weighing that is still to be sold: what stands in the cold store at the first import, and each day's weighings after it."},
	func(r *Pick) (string, string) {
		if r.TareGrams >= r.GrossGrams {
			return "tare_grams", "less than gross_grams"
		}
		return "", ""
	},
	refers("rooms.csv", code("room_id", "The room.", "alder-brook-1", func(r *Pick) *string { return &r.RoomID })),
	refers("products.csv", code("product_id", "The product as packed.", "white-closed-2kg", func(r *Pick) *string { return &r.ProductID })),
	date("date", "Day of picking.", "2026-11-25", func(r *Pick) *string { return &r.Date }),
	whole("gross_grams", "Weight on the scale, grams.", "25400", 1, mostGrams, func(r *Pick) *int64 { return &r.GrossGrams }),
	whole("tare_grams", "Weight of crates and pallet, grams; less than gross.", "1400", 0, mostGrams, func(r *Pick) *int64 { return &r.TareGrams }),
	whole("crates", "Crates.", "4", 0, 100_000, func(r *Pick) *int64 { return &r.Crates }),
	optional(text("picker", "Who picked; empty where not noted.", "Jo Carrow", 120, func(r *Pick) *string { return &r.Picker })),
	optional(whole("break_number", "Number of the break, from 1; empty where not noted.", "2", 1, 50, func(r *Pick) *int64 { return &r.BreakNumber })),
)
