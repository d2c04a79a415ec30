package web

// coldTable is the stock for the file.
func coldTable(v *visit, rows []coldRow) *table {
	t := &table{ID: "stock", Caption: v.words.T("cold.file"), Columns: []column{
		{Key: "word.lot", Name: "pick_lot_id"}, {Key: "word.product", Name: "product"}, {Key: "word.room", Name: "room"}, {Key: "cold.store", Name: "store"}, {Key: "cold.left", Name: "left_grams", Figures: true},
		{Key: "cold.picked", Name: "age_hours", Figures: true}, {Key: "cold.hours", Name: "keeps_hours", Figures: true},
	}}
	for _, r := range rows {
		keeps := none()
		if r.Known {
			keeps = v.count(r.Hours)
		}
		t.Rows = append(t.Rows, []cell{code(r.Lot), name(r.Product), name(r.Room), name(r.Store), v.weight(r.Grams), v.count(r.AgeHours), keeps})
	}
	return v.table(t)
}
