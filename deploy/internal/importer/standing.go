package importer

import (
	"cmp"
	"context"
	"slices"

	"breakshare.example/deploy/internal/coopfiles"
	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
)

// weekdays are the days of the week in the words of the files.
var weekdays = map[string]orderv1.Weekday{
	"monday": orderv1.Weekday_WEEKDAY_MONDAY, "tuesday": orderv1.Weekday_WEEKDAY_TUESDAY, "wednesday": orderv1.Weekday_WEEKDAY_WEDNESDAY,
	"thursday": orderv1.Weekday_WEEKDAY_THURSDAY, "friday": orderv1.Weekday_WEEKDAY_FRIDAY, "saturday": orderv1.Weekday_WEEKDAY_SATURDAY,
	"sunday": orderv1.Weekday_WEEKDAY_SUNDAY,
}

// ordering saves when kitchens may order. Days without deliveries are set in the suite, and stay.
func (r *run) ordering(ctx context.Context) (Outcome, error) {
	if len(r.files.Ordering) == 0 {
		return Outcome{}, nil
	}
	row := r.files.Ordering[0]
	wanted := item[*orderv1.OrderingSettings]{&orderv1.OrderingSettings{
		CutoffTime: row.CutoffTime, CutoffDaysBefore: int32(row.CutoffDaysBefore), HorizonDays: int32(row.HorizonDays),
	}, []int{row.Line}}
	kept, err := r.Order.GetOrderingSettings(ctx, &orderv1.GetOrderingSettingsRequest{})
	if err != nil {
		return Outcome{}, err
	}
	have := make(map[string]*orderv1.OrderingSettings)
	if kept.GetEtag() != "" {
		have[""] = kept
	}
	p := compare([]item[*orderv1.OrderingSettings]{wanted}, have, func(*orderv1.OrderingSettings) string { return "" }, "cutoff_time", "cutoff_days_before", "horizon_days")
	return save(ctx, r, source{file: "ordering.csv"}, p, func(list []*orderv1.OrderingSettings) *orderv1.SaveOrderingSettingsRequest {
		return &orderv1.SaveOrderingSettingsRequest{Settings: list[0]}
	}, r.Order.SaveOrderingSettings)
}

// standingOrders saves the standing orders. One that was ended in the suite stays ended, and days
// that were taken out of one there stay out.
func (r *run) standingOrders(ctx context.Context) (Outcome, error) {
	list, err := r.Order.ListStandingOrders(ctx, &orderv1.ListStandingOrdersRequest{WithEnded: true})
	if err != nil {
		return Outcome{}, err
	}
	have := byID(list.GetStandingOrders(), (*orderv1.StandingOrder).GetStandingOrderId)
	ended := 0
	var wanted []item[*orderv1.StandingOrder]
	for _, w := range gatherStanding(r.files.StandingOrders) {
		present := have[w.message.GetStandingOrderId()]
		if present.GetEnded() {
			ended++
			continue
		}
		addRests(w.message, present.GetExceptions())
		wanted = append(wanted, w)
	}
	p := compare(wanted, have, (*orderv1.StandingOrder).GetStandingOrderId, "customer_id", "lines", "from_date", "until_date", "exceptions")
	p.same += ended
	return save(ctx, r, source{file: "standing_orders.csv", columns: map[string]string{"exceptions": "skip_dates"}}, p,
		func(list []*orderv1.StandingOrder) *orderv1.BatchSaveStandingOrdersRequest {
			return &orderv1.BatchSaveStandingOrdersRequest{StandingOrders: list}
		}, r.Order.BatchSaveStandingOrders)
}

// gatherStanding makes one standing order of its rows.
func gatherStanding(rows []coopfiles.StandingRow) []item[*orderv1.StandingOrder] {
	at := make(map[string]int)
	var all []item[*orderv1.StandingOrder]
	for _, row := range rows {
		i, known := at[row.StandingOrderID]
		if !known {
			i = len(all)
			at[row.StandingOrderID] = i
			o := &orderv1.StandingOrder{StandingOrderId: row.StandingOrderID, CustomerId: row.CustomerID, FromDate: row.FromDate, UntilDate: row.UntilDate}
			for _, day := range row.SkipDates {
				o.Exceptions = append(o.Exceptions, &orderv1.StandingException{FromDate: day})
			}
			all = append(all, item[*orderv1.StandingOrder]{o, nil})
		}
		line := &orderv1.StandingLine{ProductId: row.ProductID, Packs: row.Packs, SmallestPacks: row.SmallestPacks}
		for _, word := range row.Weekdays {
			line.Weekdays = append(line.Weekdays, weekdays[word])
		}
		slices.Sort(line.Weekdays)
		all[i].message.Lines = append(all[i].message.Lines, line)
		all[i].lines = append(all[i].lines, row.Line)
	}
	return all
}

// addRests adds the days of rest that the suite has, where the file does not name them, and sorts
// them all.
func addRests(o *orderv1.StandingOrder, present []*orderv1.StandingException) {
	for _, p := range present {
		last := cmp.Or(p.GetUntilDate(), p.GetFromDate())
		o.Exceptions = slices.DeleteFunc(o.Exceptions, func(e *orderv1.StandingException) bool {
			return p.GetFromDate() <= e.GetFromDate() && e.GetFromDate() <= last
		})
		o.Exceptions = append(o.Exceptions, p)
	}
	slices.SortFunc(o.Exceptions, func(a, b *orderv1.StandingException) int { return cmp.Compare(a.GetFromDate(), b.GetFromDate()) })
}
