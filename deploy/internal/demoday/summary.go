package demoday

import (
	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
)

// Summary is the day in numbers, all counts in packs.
type Summary struct {
	Day      string           `json:"day"`
	Products []ProductSummary `json:"products"`
	Lines    []LineSummary    `json:"lines"`
	Farms    []FarmSummary    `json:"farms"`
	Packs    []PackSummary    `json:"packs"`
	Trace    Trace            `json:"trace"`
}

// ProductSummary is one product of the match. Matched is what of its orders is, also by products
// taken in its place; left is what of its own offer nobody has.
type ProductSummary struct {
	Product string `json:"product"`
	Offered int64  `json:"offered"`
	Ordered int64  `json:"ordered"`
	Matched int64  `json:"matched"`
	Left    int64  `json:"left"`
}

// LineSummary is one order line. Reason is empty where the line is not short.
type LineSummary struct {
	Order    string `json:"order"`
	Customer string `json:"customer"`
	Product  string `json:"product"`
	Ordered  int64  `json:"ordered"`
	Matched  int64  `json:"matched"`
	Reason   string `json:"reason"`
}

// FarmSummary is one farm's part in the match.
type FarmSummary struct {
	Farm    string `json:"farm"`
	Offered int64  `json:"offered"`
	Matched int64  `json:"matched"`
}

// PackSummary is what one farm packs for one kitchen out of one pick lot. The product is the one
// packed, which the kitchen may take in place of the one that it ordered.
type PackSummary struct {
	Farm     string `json:"farm"`
	Customer string `json:"customer"`
	Product  string `json:"product"`
	Packs    int64  `json:"packs"`
	PickLot  string `json:"pick_lot"`
}

// Trace is one pack from the kitchen back to the yard. What is not known is empty: the pack
// where nothing has been delivered, lot and yard of crops that stand on no compost of ours.
type Trace struct {
	Pack       string `json:"pack"`
	PickLot    string `json:"pick_lot"`
	Crop       string `json:"crop"`
	Room       string `json:"room"`
	CompostLot string `json:"compost_lot"`
	Yard       string `json:"yard"`
}

// reasons are the words for programs; people read the explanation of the line.
var reasons = map[orderv1.ShortReason]string{
	orderv1.ShortReason_SHORT_REASON_UNSPECIFIED:    "",
	orderv1.ShortReason_SHORT_REASON_NOT_OFFERED:    "not_offered",
	orderv1.ShortReason_SHORT_REASON_HIGHER_CLASS:   "higher_class",
	orderv1.ShortReason_SHORT_REASON_SAME_CLASS:     "same_class",
	orderv1.ShortReason_SHORT_REASON_NOT_FIT:        "not_fit",
	orderv1.ShortReason_SHORT_REASON_NOT_ENOUGH:     "not_enough",
	orderv1.ShortReason_SHORT_REASON_EXCLUDED:       "excluded",
	orderv1.ShortReason_SHORT_REASON_NOT_PROMISED:   "not_promised",
	orderv1.ShortReason_SHORT_REASON_TOO_FEW_OF_USE: "too_few_of_use",
	orderv1.ShortReason_SHORT_REASON_BY_HAND:        "by_hand",
}

// summarise puts a confirmed match and its pack lists into numbers.
func summarise(match *orderv1.Match, lists []*orderv1.PackList) *Summary {
	s := &Summary{
		Day: match.GetDeliveryDate(), Products: []ProductSummary{}, Lines: []LineSummary{}, Farms: []FarmSummary{}, Packs: []PackSummary{},
	}
	for _, p := range match.GetProducts() {
		s.Products = append(s.Products, ProductSummary{p.GetProductId(), p.GetOffered(), p.GetOrdered(), p.GetMatched(), p.GetLeft()})
	}
	for _, l := range match.GetLines() {
		s.Lines = append(s.Lines, LineSummary{l.GetOrderId(), l.GetCustomerId(), l.GetProductId(), l.GetOrdered(), l.GetMatched(), reasons[l.GetReason()]})
	}
	for _, f := range match.GetFarms() {
		s.Farms = append(s.Farms, FarmSummary{f.GetFarmId(), f.GetOffered(), f.GetMatched()})
	}
	for _, list := range lists {
		for _, l := range list.GetLines() {
			s.Packs = append(s.Packs, PackSummary{list.GetFarmId(), l.GetCustomerId(), l.GetPackedProductId(), l.GetPacks(), l.GetPickLotId()})
		}
	}
	return s
}
