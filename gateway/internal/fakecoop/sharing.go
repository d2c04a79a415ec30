package fakecoop

import (
	"context"

	"google.golang.org/protobuf/proto"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	"breakshare.example/services/platform/fault"
)

// SlotSharing is how the co-op shares slots out.
type SlotSharing struct {
	ShareSettings *compostlotv1.ShareSettings
	Haul          []*compostlotv1.HaulCost
}

func (c *Coop) fillSharing() {
	c.ShareSettings = &compostlotv1.ShareSettings{
		Rule: compostlotv1.ShareRule_SHARE_RULE_SATISFIED_SHARE, Weights: compostlotv1.ShareWeights_SHARE_WEIGHTS_MEMBER_SHARES, HaulMinorPerTonneKm: 15, Etag: "v1",
	}
	c.Haul = []*compostlotv1.HaulCost{{YardId: "quarry-end", FarmId: "alder-brook", By: &compostlotv1.HaulCost_DistanceKm{DistanceKm: 20}, CostMinorPerTonne: 300, Etag: "v4"}}
}

func (l *compostlot) GetShareSettings(context.Context, *compostlotv1.GetShareSettingsRequest) (*compostlotv1.ShareSettings, error) {
	return read(l.c, "GetShareSettings", func() (*compostlotv1.ShareSettings, error) { return proto.CloneOf(l.c.ShareSettings), nil })
}

func (l *compostlot) SaveShareSettings(_ context.Context, req *compostlotv1.SaveShareSettingsRequest) (*compostlotv1.ShareSettings, error) {
	return once(l.c, "SaveShareSettings", req, func() (*compostlotv1.ShareSettings, error) {
		if req.GetSettings().GetEtag() != l.c.ShareSettings.GetEtag() {
			return nil, fault.New(fault.Stale, "CHANGED_MEANWHILE", "The settings were changed by Maeve.").WithField("settings.etag", "is not that of the newest version")
		}
		l.c.ShareSettings = proto.CloneOf(req.GetSettings())
		l.c.ShareSettings.Etag = "v2"
		return proto.CloneOf(l.c.ShareSettings), nil
	})
}

func (l *compostlot) ListHaulCosts(context.Context, *compostlotv1.ListHaulCostsRequest) (*compostlotv1.ListHaulCostsResponse, error) {
	return read(l.c, "ListHaulCosts", func() (*compostlotv1.ListHaulCostsResponse, error) {
		return &compostlotv1.ListHaulCostsResponse{HaulCosts: l.c.Haul}, nil
	})
}

func (l *compostlot) SaveHaulCosts(_ context.Context, req *compostlotv1.SaveHaulCostsRequest) (*compostlotv1.SaveHaulCostsResponse, error) {
	return once(l.c, "SaveHaulCosts", req, func() (*compostlotv1.SaveHaulCostsResponse, error) {
		l.c.Haul = nil
		for _, c := range req.GetHaulCosts() {
			l.c.Haul = append(l.c.Haul, proto.CloneOf(c))
		}
		return &compostlotv1.SaveHaulCostsResponse{HaulCosts: l.c.Haul}, nil
	})
}
