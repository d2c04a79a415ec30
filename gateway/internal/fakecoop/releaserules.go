package fakecoop

import (
	"context"

	"google.golang.org/protobuf/proto"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	typev1 "breakshare.example/proto/gen/breakshare/type/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
)

func (c *Coop) fillReleaseRules() {
	catalogue := releaseCatalogue(typev1.CompostPhase_COMPOST_PHASE_TWO)
	c.MustProve = &compostlotv1.ReleaseRules{Phase: typev1.CompostPhase_COMPOST_PHASE_TWO, Criteria: []*compostlotv1.ReleaseCriterion{catalogue[0], catalogue[2]}}
}

// releaseCatalogue is all that can be asked of lots of a phase.
func releaseCatalogue(phase typev1.CompostPhase) []*compostlotv1.ReleaseCriterion {
	nitrogen := &compostlotv1.ReleaseCriterion{
		CriterionId: "nitrogen-2.1-2.3", Subject: "nitrogen", LowThousandths: proto.Int64(2_100), HighThousandths: proto.Int64(2_300), MinProbes: 1, Source: "a fact sheet (seen)",
		Kinds: []compostlotv1.ReadingKind{compostlotv1.ReadingKind_READING_KIND_NITROGEN},
	}
	if phase == typev1.CompostPhase_COMPOST_PHASE_ONE {
		return []*compostlotv1.ReleaseCriterion{nitrogen}
	}
	both := []compostlotv1.ReadingKind{compostlotv1.ReadingKind_READING_KIND_COMPOST_TEMPERATURE, compostlotv1.ReadingKind_READING_KIND_AIR_TEMPERATURE}
	return []*compostlotv1.ReleaseCriterion{
		{
			CriterionId: "heat-60C", Subject: "pasteurisation", LowThousandths: proto.Int64(60_000), Seconds: proto.Int64(7_200), MinProbes: 1, Source: "a leaflet (from memory)",
			Note: "Others hold it longer.", Kinds: both, Unbroken: true,
		},
		{CriterionId: "heat-58-62C", Subject: "pasteurisation", LowThousandths: proto.Int64(58_000), HighThousandths: proto.Int64(62_000), Seconds: proto.Int64(14_450), MinProbes: 1, Source: "a course (seen in a copy)", Kinds: both},
		nitrogen,
	}
}

// GetReleaseRules tells the rules of phases two and three; those of phase one nobody has changed.
func (l *compostlot) GetReleaseRules(_ context.Context, req *compostlotv1.GetReleaseRulesRequest) (*compostlotv1.GetReleaseRulesResponse, error) {
	return read(l.c, "GetReleaseRules", func() (*compostlotv1.GetReleaseRulesResponse, error) {
		res := &compostlotv1.GetReleaseRulesResponse{Rules: proto.CloneOf(l.c.MustProve), Catalogue: releaseCatalogue(req.GetPhase())}
		if req.GetPhase() == typev1.CompostPhase_COMPOST_PHASE_ONE {
			res.Rules = &compostlotv1.ReleaseRules{Phase: req.GetPhase(), Criteria: res.GetCatalogue()}
		}
		return res, nil
	})
}

// SaveReleaseRules keeps the rules of phases two and three as the catalogue has them with what was
// sent on top.
func (l *compostlot) SaveReleaseRules(ctx context.Context, req *compostlotv1.SaveReleaseRulesRequest) (*compostlotv1.ReleaseRules, error) {
	return once(l.c, "SaveReleaseRules", req, func() (*compostlotv1.ReleaseRules, error) {
		if req.GetRules().GetEtag() != l.c.MustProve.GetEtag() {
			return nil, fault.New(fault.Stale, "CHANGED_MEANWHILE", "The release rules were changed by Hugh.").WithField("rules.etag", "is not that of the newest version")
		}
		saved := &compostlotv1.ReleaseRules{Phase: req.GetRules().GetPhase(), Etag: l.c.MustProve.GetEtag() + "v", ChangedBy: identity.Must(ctx).Name, ChangedAt: at(Today, 14)}
		subjects := map[string]bool{}
		for i, sent := range req.GetRules().GetCriteria() {
			for _, known := range releaseCatalogue(saved.GetPhase()) {
				if known.GetCriterionId() != sent.GetCriterionId() {
					continue
				}
				merged, err := mergeCriterion(known, sent, "rules.criteria["+itoa(i)+"]")
				if err != nil {
					return nil, err
				}
				if subjects[known.GetSubject()] {
					return nil, fault.InvalidField("rules.criteria["+itoa(i)+"]", "another is about %s: keep one", known.GetSubject())
				}
				subjects[known.GetSubject()] = true
				saved.Criteria = append(saved.Criteria, merged)
			}
		}
		l.c.MustProve = saved
		return proto.CloneOf(saved), nil
	})
}

// mergeCriterion puts what was sent over the catalogue's figures.
func mergeCriterion(known, sent *compostlotv1.ReleaseCriterion, path string) (*compostlotv1.ReleaseCriterion, error) {
	out := proto.CloneOf(known)
	if sent.LowThousandths != nil {
		out.LowThousandths = sent.LowThousandths
	}
	if sent.HighThousandths != nil {
		out.HighThousandths = sent.HighThousandths
	}
	if sent.Seconds != nil {
		out.Seconds = sent.Seconds
	}
	if sent.GetMinProbes() != 0 {
		out.MinProbes = sent.GetMinProbes()
	}
	if out.Own = !proto.Equal(out, known); !out.GetOwn() {
		return out, nil
	}
	switch out.Source = sent.GetSource(); {
	case out.GetSource() == "":
		return nil, fault.InvalidField(path+".source", "say where they come from")
	case out.HighThousandths != nil && out.GetLowThousandths() > out.GetHighThousandths():
		return nil, fault.InvalidField(path+".low_thousandths", "the lower limit is above the upper one")
	}
	return out, nil
}
