package web

import (
	"fmt"
	"net/url"
	"strconv"

	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
)

// pushColumns are those of a file of expected picks, as the co-op's own files have them.
var pushColumns = []string{"room_id", "product_id", "date", "low_grams", "likely_grams", "high_grams"}

// pushFile pushes the figures of an uploaded file, all or none.
func (p *Pages) pushFile(v *visit) (view, error) {
	rows, err := v.uploaded("file", pushColumns, nil)
	if err != nil {
		return view{}, err
	}
	req := &harvestv1.PushExpectedPicksRequest{RequestId: v.r.PostFormValue("request_id"), ConfirmLarge: v.r.PostFormValue("confirm_large") != ""}
	for _, row := range rows {
		e, err := expectedOf(row)
		if err != nil {
			return view{}, v.wrongFile("file", err)
		}
		req.ExpectedPicks = append(req.ExpectedPicks, e)
	}
	pushed, err := p.harvest.PushExpectedPicks(v.ctx, req)
	if err != nil {
		return view{}, v.placed(err, "file", "expected_picks", rows)
	}
	late := ""
	if n := countLate(pushed); n > 0 {
		late = "&late=" + strconv.Itoa(n)
	}
	return view{goTo: fmt.Sprintf("/push?day=%s&pushed=%d%s%s", url.QueryEscape(rows[0].values["date"]), len(rows), late, farmQuery(v))}, nil
}

// expectedOf is the figure of a row. Its errors are *rowError.
func expectedOf(row csvRow) (e *harvestv1.ExpectedPick, err error) {
	e = &harvestv1.ExpectedPick{RoomId: row.values["room_id"], ProductId: row.values["product_id"], Date: row.values["date"]}
	for name, into := range map[string]*int64{"low_grams": &e.LowGrams, "likely_grams": &e.LikelyGrams, "high_grams": &e.HighGrams} {
		if row.values[name] == "" {
			return nil, row.wrong(name)
		}
		if *into, err = row.whole(name); err != nil {
			return nil, err
		}
	}
	return e, nil
}
