package fakecoop

import (
	"context"
	"fmt"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"

	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	typev1 "breakshare.example/proto/gen/breakshare/type/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
)

// FeedSecret is the secret of the first feed that is made.
const FeedSecret = "kestrel-over-the-bog"

func (s *scheduling) GetQuarter(_ context.Context, req *schedulingv1.GetQuarterRequest) (*schedulingv1.GetQuarterResponse, error) {
	return read(s.c, "GetQuarter", func() (*schedulingv1.GetQuarterResponse, error) {
		res := &schedulingv1.GetQuarterResponse{Conflicts: s.c.Conflicts, Overdue: s.c.Overdue}
		for _, r := range s.c.Rooms {
			room := &schedulingv1.QuarterRoom{RoomId: r.GetRoomId(), Name: r.GetName(), FarmId: r.GetFarmId()}
			for _, crop := range s.c.Crops {
				if crop.GetRoomId() == r.GetRoomId() && crop.GetFreeDate() > req.GetFirstWeek() {
					room.Crops = append(room.Crops, proto.CloneOf(crop))
				}
			}
			res.Rooms = append(res.Rooms, room)
		}
		if len(s.c.Rooms) > 0 {
			res.Kinds = []*schedulingv1.KindPlan{kindPlan(0)}
		}
		return res, nil
	})
}

// kindPlan is three weeks of closed white mushrooms: enough, a gap of 200 kg less what is
// proposed, and a surplus.
func kindPlan(proposed int64) *schedulingv1.KindPlan {
	plan := &schedulingv1.KindPlan{Kind: &schedulingv1.Kind{Species: "white mushroom", PickStage: typev1.PickStage_PICK_STAGE_CLOSED}, ProductIds: []string{"white-closed-2kg"}}
	for _, w := range []struct {
		week                                     string
		committed, proposed, demand, short, over int64
	}{
		{"2026-11-23", 500_000, 0, 500_000, 0, 0},
		{"2026-11-30", 300_000, proposed, 500_000, 200_000 - proposed, 0},
		{"2026-12-07", 600_000, 0, 450_000, 0, 150_000},
	} {
		plan.Weeks = append(plan.Weeks, &schedulingv1.KindWeek{
			Week: w.week, CommittedGrams: w.committed, ProposedGrams: w.proposed, DemandGrams: &w.demand, ShortGrams: w.short, OverGrams: w.over,
		})
	}
	return plan
}

// proposal is one fill of House 3; planned anew, it costs less and drops the crop there.
func proposal(replan, final bool, pins []*schedulingv1.FillChoice) *schedulingv1.Proposal {
	gap := int64(12)
	p := &schedulingv1.Proposal{
		FirstWeek: "2026-11-30", Weeks: 26, CurrencyCode: "EUR", CostMinor: 520_000, ShortMinor: 300_000, OverMinor: 20_000, FillMinor: 200_000,
		BoundMinor: 510_000, GapPerMille: &gap, Final: final, ElapsedMs: 40, Kinds: []*schedulingv1.KindPlan{kindPlan(150_000)},
		Fills: []*schedulingv1.ProposedFill{
			{
				RoomId: "alder-brook-3", FarmId: "alder-brook", ProgrammeId: "white-shelf", Week: "2026-12-07", FillDate: "2026-12-09", FirstPickDate: "2027-01-20",
				FreeDate: "2027-03-01", CompostGrams: 22_000_000, CostMinor: 180_000,
			},
			{RoomId: "birch-hollow-1", FarmId: "birch-hollow", ProgrammeId: "oyster-bags", Week: "2026-12-14", FillDate: "2026-12-15", CropId: "birch-hollow-1-20261215"},
		},
	}
	if final {
		without := int64(95_000)
		p.Fills[0].WithoutMinor = &without
		p.Fills[0].Serves = []*schedulingv1.ServedWeek{{Kind: p.Kinds[0].Kind, Week: "2027-01-18", Grams: 400_000, ShortGrams: 150_000}}
		p.Fills[0].Earlier = &schedulingv1.FillMove{Week: "2026-11-30", Reason: "the room is not free"}
		p.Fills[0].Later = &schedulingv1.FillMove{Week: "2026-12-14", Possible: true, ChangeMinor: 12_000}
		p.WishMinor = 4_000
		p.Farms = []*schedulingv1.FarmPlan{{FarmId: "alder-brook", MemberShares: 30, Grams: 900_000, FairGrams: 750_000, PeakWeek: "2026-12-07", PeakMinutes: 2_400, WeeksOverLimit: 2}}
		p.Notes = []string{"No price of spawn is set: it is not reckoned."}
	}
	for _, pin := range pins {
		for _, f := range p.Fills {
			f.Pinned = f.Pinned || f.RoomId == pin.GetRoomId() && f.Week == pin.GetWeek()
		}
	}
	if replan {
		p.CostMinor, p.FillMinor = 470_000, 150_000
		p.Dropped = []*schedulingv1.DroppedCrop{{CropId: "birch-hollow-1-20261215", RoomId: "birch-hollow-1", FillDate: "2026-12-15", Etag: "4"}}
		p.Fills = p.Fills[:1]
	}
	return p
}

func (s *scheduling) ProposeFills(req *schedulingv1.ProposeFillsRequest, stream grpc.ServerStreamingServer[schedulingv1.Proposal]) error {
	if err := s.c.enter("ProposeFills"); err != nil {
		return err
	}
	s.c.mu.Lock()
	s.c.Proposed = append(s.c.Proposed, req)
	s.c.mu.Unlock()
	for _, final := range []bool{false, true} {
		if err := stream.Send(proposal(req.GetReplan(), final, req.GetPins())); err != nil {
			return err
		}
	}
	return nil
}

func (s *scheduling) AcceptFills(_ context.Context, req *schedulingv1.AcceptFillsRequest) (*schedulingv1.AcceptFillsResponse, error) {
	return once(s.c, "AcceptFills", req, func() (*schedulingv1.AcceptFillsResponse, error) {
		res := &schedulingv1.AcceptFillsResponse{}
		for i, f := range req.GetFills() {
			if f.GetRoomId() == "alder-brook-1" {
				return nil, fault.New(fault.Precondition, "ROOM_TAKEN", "House 1 is taken until 27 December.").WithField(fmt.Sprintf("fills[%d].room_id", i), "is taken")
			}
			res.Crops = append(res.Crops, &schedulingv1.Crop{CropId: f.GetRoomId() + "-new", RoomId: f.GetRoomId(), FillDate: f.GetFillDate()})
		}
		s.c.Accepted = append(s.c.Accepted, req)
		return res, nil
	})
}

func (s *scheduling) WhatIf(_ context.Context, req *schedulingv1.WhatIfRequest) (*schedulingv1.WhatIfResponse, error) {
	return read(s.c, "WhatIf", func() (*schedulingv1.WhatIfResponse, error) {
		s.c.Asked = append(s.c.Asked, req)
		base, changed := proposal(false, true, nil), proposal(false, true, nil)
		changed.CostMinor, changed.Fills = 610_000, changed.Fills[:1]
		return &schedulingv1.WhatIfResponse{Base: base, Changed: changed, Difference: &schedulingv1.PlanChange{
			CostMinor: 90_000, CompostKg: -22_000,
			Kinds: []*schedulingv1.KindChange{{Kind: base.Kinds[0].Kind, SupplyGrams: -400_000, ShortGrams: 380_000}},
			Rooms: []*schedulingv1.RoomChange{{RoomId: "birch-hollow-1", OnlyBase: []*schedulingv1.FillChoice{{RoomId: "birch-hollow-1", ProgrammeId: "oyster-bags", Week: "2026-12-14"}}}},
		}}, nil
	})
}

func (s *scheduling) CreateFeed(ctx context.Context, req *schedulingv1.CreateFeedRequest) (*schedulingv1.CreateFeedResponse, error) {
	return once(s.c, "CreateFeed", req, func() (*schedulingv1.CreateFeedResponse, error) {
		if req.GetKind() == schedulingv1.FeedKind_FEED_KIND_UNSPECIFIED {
			return nil, fault.InvalidField("kind", "say what the calendar tells of")
		}
		feed := &schedulingv1.Feed{FeedId: "0190a1b2-0000-7000-8000-00000000000f", Kind: req.GetKind(), TargetId: req.GetTargetId(), CreatedBy: identity.Must(ctx).Name, CreatedAt: at(Today, 14)}
		s.c.Feeds = append(s.c.Feeds, feed)
		return &schedulingv1.CreateFeedResponse{Feed: feed, Secret: FeedSecret, Path: "/feeds/" + ID + "/" + FeedSecret + ".ics"}, nil
	})
}

func (s *scheduling) ListFeeds(context.Context, *schedulingv1.ListFeedsRequest) (*schedulingv1.ListFeedsResponse, error) {
	return read(s.c, "ListFeeds", func() (*schedulingv1.ListFeedsResponse, error) {
		return &schedulingv1.ListFeedsResponse{Feeds: s.c.Feeds}, nil
	})
}

func (s *scheduling) RevokeFeed(_ context.Context, req *schedulingv1.RevokeFeedRequest) (*schedulingv1.Feed, error) {
	return once(s.c, "RevokeFeed", req, func() (*schedulingv1.Feed, error) {
		for _, f := range s.c.Feeds {
			if f.GetFeedId() == req.GetFeedId() {
				f.RevokedAt = at(Today, 15)
				return f, nil
			}
		}
		return nil, notFound("feed", req.GetFeedId())
	})
}

func (s *scheduling) ReadFeed(ctx context.Context, req *schedulingv1.ReadFeedRequest) (*schedulingv1.Content, error) {
	return read(s.c, "ReadFeed", func() (*schedulingv1.Content, error) {
		who := identity.Must(ctx)
		for _, f := range s.c.Feeds {
			if req.GetSecret() == FeedSecret && f.RevokedAt == nil && who.CoopID == ID && who.Role == identity.Service {
				return &schedulingv1.Content{ContentType: s.c.FeedType, Content: []byte("BEGIN:VCALENDAR\r\nEND:VCALENDAR\r\n"), FileName: f.GetTargetId() + "\".ics"}, nil
			}
		}
		return nil, fault.New(fault.NotFound, "NO_FEED", "There is no calendar at this address.")
	})
}

func (s *scheduling) ExportCalendar(_ context.Context, req *schedulingv1.ExportCalendarRequest) (*schedulingv1.Content, error) {
	return read(s.c, "ExportCalendar", func() (*schedulingv1.Content, error) {
		return &schedulingv1.Content{ContentType: "text/csv; charset=utf-8", Content: []byte("crop_id,from\n" + req.GetFromDate() + "," + req.GetToDate() + "\n"), FileName: "crops.csv"}, nil
	})
}
