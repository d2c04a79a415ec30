package main

// rhythms are the days of the week on which kitchens have what they usually order delivered.
var rhythms = []string{"monday+wednesday+friday", "tuesday+thursday+saturday", "tuesday+friday", "monday+thursday", "wednesday+saturday"}

// smallest is the fewest packs that are of use where a kitchen wants some: what makes a dish.
func smallest(packs int) string {
	if packs < 4 {
		return ""
	}
	return "2"
}

// writeStanding writes standing_orders.csv: every other kitchen has what it usually orders stand,
// from the day after the demonstration day, so that no day has orders of both kinds. But for the
// infirmary they rest at Christmas. It writes ordering.csv with the cut-off too.
func writeStanding(files map[string]*file, usual []map[string]int) {
	f := newFile("standing_order_id,customer_id,product_id,weekdays,packs,smallest_packs,from_date,until_date,skip_dates")
	for i := 0; i < len(kitchens); i += 2 {
		k, skipped := kitchens[i], "2026-12-25+2026-12-26"
		if k.id == "saint-brannoc-infirmary" {
			skipped = "" // the infirmary cooks every day
		}
		for _, p := range products {
			packs := usual[i][p.id]
			if packs == 0 {
				continue
			}
			f.add(k.id+"-weekly", k.id, p.id, rhythms[i/2%len(rhythms)], packs, smallest(packs), date(after(day, 1)), "", skipped)
		}
	}
	files["standing_orders.csv"] = f
	o := newFile("cutoff_time,cutoff_days_before,horizon_days")
	o.add("16:00", 1, 14)
	files["ordering.csv"] = o
}
